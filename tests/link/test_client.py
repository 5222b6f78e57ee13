"""The client against a board of a few lines, in virtual time: retries, at most once, sessions."""

from __future__ import annotations

import pytest
from rodbench.clock import VirtualClock
from rodbench.errors import LinkLost, NoAnswer, OutcomeUnknown, ProtocolMismatch, Refused
from rodbench.link.client import Client
from rodbench_protocol import messages
from rodbench_protocol.names import MAJOR, MINOR, Status

from tests.link.fake_board import FakeBoard, FakeTransport


def connect(board=None, **options):
    clock = VirtualClock()
    transport = FakeTransport(board or FakeBoard(), clock)
    return Client(transport, clock, **options), transport


def names(board):
    return [name for name, _ in board.carried_out]


def test_connecting_says_hello_and_opens_a_session_and_no_more():
    client, transport = connect()
    assert names(transport.board) == ["hello", "open"]
    assert client.session == transport.board.session != 0
    assert client.hello_fields["name"] == "fake"


def test_a_lost_request_is_sent_again_byte_for_byte_after_150_ms():
    client, transport = connect()
    first = len(transport.sent) + 1
    transport.drop = lambda way, n: way == "out" and n == first
    client.request("counters")
    (t0, a), (t1, b) = transport.sent[-2:]
    assert a == b
    assert t1 - t0 == pytest.approx(0.150)
    assert names(transport.board).count("counters") == 1


def test_a_lost_reply_is_answered_from_memory_and_nothing_is_done_twice():
    client, transport = connect()
    first = len(transport.sent) + 1
    transport.drop = lambda way, n: way == "in" and n in (first, first + 1)
    reply = client.request("jog", axis=1, unit=1, value=5000)
    assert reply["motion"] == 1
    assert names(transport.board).count("jog") == 1
    assert client.statistics().retries == 2


def test_three_tries_then_unknown_then_a_new_session_and_motion_is_not_asked_again():
    client, transport = connect()
    session = client.session
    transport.drop = lambda way, n: way == "in"
    with pytest.raises(OutcomeUnknown) as caught:
        client.request("jog", axis=1, unit=1, value=5000)
    assert "unknown" in str(caught.value)
    assert caught.value.exit_code == 10
    sent = len(transport.sent)
    transport.drop = lambda way, n: False
    client.request("counters")
    assert client.session != session
    assert names(transport.board)[-3:] == ["hello", "open", "counters"]
    assert names(transport.board).count("jog") == 1
    assert len(transport.sent) == sent + 4  # a 00, hello, open, counters: no jog


def test_late_replies_are_dropped_and_counted():
    client, transport = connect()
    transport.delay_s = 0.160  # after the second try has gone out
    client.request("counters")
    transport.delay_s = 0.005
    reply = client.request("digests")
    assert reply.name == "digests"
    client.poll(0.5)
    assert client.statistics().late_replies == 1
    assert names(transport.board).count("counters") == 1


def test_a_refusal_carries_its_reason():
    client, transport = connect()
    board = transport.board
    board._answer = lambda payload: board._reply(messages.parse(payload), Status.DUTY_SPENT)
    with pytest.raises(Refused) as caught:
        client.request("move", axis=1, target_um=1000, speed_um_s=0)
    assert caught.value.status_name == "duty_spent"
    assert "duty budget" in str(caught.value)
    assert caught.value.kept


def test_a_board_that_started_anew_is_told_and_the_request_is_not_done():
    client, transport = connect()
    transport.board.restart()
    with pytest.raises(LinkLost, match="started anew"):
        client.request("move", axis=1, target_um=1000, speed_um_s=0)
    assert "move" not in names(transport.board)
    client.request("counters")  # a new session by itself
    assert client.session == transport.board.session


def test_another_host_that_took_the_board_is_told():
    client, transport = connect()
    transport.board.session = client.session % 255 + 1
    with pytest.raises(LinkLost, match="another host"):
        client.request("counters")


def test_an_event_without_a_session_tells_of_a_restart():
    client, transport = connect()
    transport.board.restart()
    event = transport.board.unasked("event", kind=1, cause=2)
    transport.waiting.append((0.0, event))
    with pytest.raises(LinkLost, match="started anew"):
        client.poll(0.1)
    client.request("counters")


@pytest.mark.parametrize("major", [MAJOR + 1, MAJOR - 1])
def test_another_major_is_no_noise(major):
    with pytest.raises(ProtocolMismatch) as caught:
        connect(FakeBoard(major=major))
    assert f"protocol {major}.{MINOR}" in str(caught.value)
    assert caught.value.exit_code == 5


@pytest.mark.parametrize("other", [{"minor": MINOR + 1}, {"digest": 0x12345678}])
def test_another_minor_or_edition_is_used_and_said(other):
    heard: list[str] = []
    client, _ = connect(FakeBoard(**other), warn=heard.append)
    client.request("counters")
    assert len(heard) == 1
    assert "common part" in heard[0]


def test_silence_ends_after_four_seconds():
    board = FakeBoard()
    board.deaf = True
    clock = VirtualClock()
    with pytest.raises(NoAnswer, match=r"no reply to hello in 4\.0 s"):
        Client(FakeTransport(board, clock), clock)
    assert 4.0 <= clock.now() < 4.3


def test_what_talks_otherwise_is_told_from_silence():
    board = FakeBoard()
    board.take = lambda data: b"login: \r\n\0garbage\0"
    clock = VirtualClock()
    with pytest.raises(NoAnswer, match="not this protocol"):
        Client(FakeTransport(board, clock), clock)


def test_half_a_frame_in_the_board_and_noise_before_the_first_frame_do_not_matter():
    board = FakeBoard()
    board.take(b"\x05\x01half")
    clock = VirtualClock()
    transport = FakeTransport(board, clock)
    transport.waiting.append((0.0, b"\xff\xffboot\x00\x03\x00"))
    client = Client(transport, clock)
    client.request("counters")
    assert client.statistics().frames_bad > 0


def test_stop_needs_no_session_and_no_sequence():
    client, transport = connect()
    transport.board.restart()
    client.stop(0, 1)
    assert transport.board.carried_out[-1] == ("stop", {"axis": 0, "category": 1})


def test_alive_echoes_the_newest_tick_seen():
    client, transport = connect()
    transport.board.tick = 5000
    transport.waiting.append((0.0, transport.board.unasked("telemetry_axis", axis=1)))
    client.poll(0.1)
    client.alive()
    assert transport.board.renewals == [5000]


def test_gaps_in_what_comes_unasked_are_counted():
    client, transport = connect()
    for number in range(5):
        frame = transport.board.unasked("telemetry_axis", axis=1)
        if number not in (2, 3):
            transport.waiting.append((0.0, frame))
    assert len(client.poll(0.1)) == 3
    assert client.statistics().unasked_missed == 2


def test_a_port_that_goes_away_says_what_the_board_does():
    client, transport = connect()
    transport.gone = True
    with pytest.raises(LinkLost) as caught:
        client.request("counters")
    assert "hold" in caught.value.kept


def test_telemetry_is_asked_for_again_in_a_new_session():
    client, transport = connect()
    client.subscribe(10, 100)
    transport.board.restart()
    with pytest.raises(LinkLost):
        client.request("counters")
    client.request("digests")
    assert names(transport.board)[-3:] == ["open", "subscribe", "digests"]
