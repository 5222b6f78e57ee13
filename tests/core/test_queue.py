"""Which frames a tick takes, and that a stop always finds its place."""

from __future__ import annotations

from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.core.host import Host

JOG = {"axis": 1, "unit": 0, "value": 300}


def stop(axis: int = 0, category: int = 0, session: int = 77, seq: int = 9) -> bytes:
    """A stop of a stranger."""
    return framing.encode(messages.pack("stop", session, seq, axis=axis, category=category))


def answers(host: Host) -> list[tuple[str, int]]:
    """Names and statuses of the replies so far."""
    found = [(m.name, m.fields["status"]) for m in host.replies]
    host.replies.clear()
    return found


def driving(host: Host) -> bool:
    """Whether axis 1 has output now."""
    return bool(host.board.outputs().drive[0])


def moving_host() -> Host:
    """Axis 1 jogs."""
    host = Host()
    host.change(feedback=1)
    host.ask("jog", **JOG)
    host.tick()
    assert driving(host)
    host.replies.clear()
    return host


def test_one_request_a_tick_in_order() -> None:
    host = Host()
    host.replies.clear()
    host.tick(host.frame("counters") + host.frame("digests"))
    assert answers(host) == [("counters", Status.OK)]
    host.tick()
    assert answers(host) == [("digests", Status.OK)]


def test_the_third_frame_is_dropped_and_counted() -> None:
    host = Host()
    host.replies.clear()
    before = host.board.fields().frames_dropped
    host.tick(host.frame("counters") + host.frame("digests") + host.frame("counters"))
    for _ in range(3):
        host.tick()
    assert answers(host) == [("counters", Status.OK), ("digests", Status.OK)]
    assert host.board.fields().frames_dropped == before + 1


def test_alive_passes_ahead_of_a_request_in_the_same_tick() -> None:
    host = moving_host()
    now = host.board.fields().tick
    alive = framing.encode(messages.pack("alive", 3, 0, tick=now))
    host.tick(alive + host.frame("counters"))
    assert answers(host) == [("counters", Status.OK)]
    for _ in range(49):
        host.tick()
        assert driving(host)


def test_a_stop_acts_with_the_queue_full() -> None:
    host = moving_host()
    host.tick(host.frame("counters") + host.frame("digests") + stop())
    assert not driving(host)
    assert answers(host) == [("stop", Status.OK), ("counters", Status.OK)]


def test_two_stops_in_a_tick_both_act() -> None:
    host = moving_host()
    host.tick(stop(axis=2) + stop(axis=1))
    assert not driving(host)
    assert answers(host) == [("stop", Status.OK), ("stop", Status.OK)]


def test_a_motion_that_waits_beside_a_stop_does_not_start() -> None:
    for order in (0, 1):
        host = Host()
        host.change(feedback=1)
        host.replies.clear()
        frames = [host.frame("jog", **JOG), stop()]
        host.tick(b"".join(frames if order else reversed(frames)))
        assert answers(host) == [("stop", Status.OK), ("jog", Status.STOP_STANDING)]
        for _ in range(5):
            host.tick()
            assert not driving(host)
        assert host.status("jog", **JOG) == Status.OK


def test_a_motion_second_in_the_queue_beside_a_stop_does_not_start_either() -> None:
    host = Host()
    host.change(feedback=1)
    host.replies.clear()
    host.tick(host.frame("counters") + host.frame("jog", **JOG) + stop())
    host.tick()
    assert answers(host) == [
        ("stop", Status.OK),
        ("counters", Status.OK),
        ("jog", Status.STOP_STANDING),
    ]
    assert not driving(host)


def test_a_damaged_stop_bars_nothing() -> None:
    host = Host()
    host.change(feedback=1)
    host.replies.clear()
    broken = bytearray(stop())
    broken[-2] ^= 1
    host.tick(host.frame("jog", **JOG) + bytes(broken))
    assert answers(host) == [("jog", Status.OK)]


def test_a_stop_may_be_cut_short_or_name_an_axis_that_there_is_not() -> None:
    for body in (b"", b"\0", b"\1", b"\7\1", b"\1\0\0\0"):
        host = moving_host()
        host.tick(framing.encode(bytes((0x10, 200, 3)) + body))
        assert answers(host) == [("stop", Status.OK)]
        for _ in range(20):
            host.tick()
        assert not driving(host), body


def test_a_line_error_costs_one_frame_only() -> None:
    host = Host()
    host.replies.clear()
    first = host.frame("counters")
    host.board.lib.core_rx_damage.argtypes = host.board.lib.core_late_tick.argtypes
    host.board.lib.core_rx_damage(host.board.core_address)
    bad = host.board.fields().frames_bad
    host.tick(first)
    assert answers(host) == []
    assert host.board.fields().frames_bad == bad + 1
    host.tick(first)
    assert answers(host) == [("counters", Status.OK)]
