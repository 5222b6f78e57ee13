"""A line that drains more slowly than it should loses whole frames, and nothing else."""

from __future__ import annotations

import ctypes as ct

from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.core import native
from tests.core.host import Host

TX_SIZE = 128


def test_a_ring_that_did_not_drain_drops_whole_frames() -> None:
    """Ticks that follow a late one come too close for the line to keep up."""
    lib = native.library()
    board = native.Board(lib)
    board.boot()
    lib.harness_ring.argtypes, lib.harness_ring.restype = [ct.c_void_p], ct.c_void_p
    lib.harness_next.argtypes, lib.harness_next.restype = [ct.c_void_p], ct.c_int16
    ring = lib.harness_ring(board.address)
    lib.tx_tick.argtypes = [ct.c_void_p]
    lib.tx_reply.argtypes = [ct.c_void_p, ct.c_char_p, ct.c_uint8]
    sent = []
    for number in range(8):
        payload = messages.pack("settings_get", 1, number, which=0, scope=1, first_key=number)
        payload += b"\1" * 30
        lib.tx_reply(ring, payload, len(payload))
        lib.tx_tick(ring)  # credit comes back, but nothing is drained
        sent.append(payload)
    data = bytearray()
    while (byte := lib.harness_next(board.address)) >= 0:
        data.append(byte)
    assert len(data) <= TX_SIZE
    found = [framing.decode(f) for f in bytes(data).split(b"\0")[:-1]]
    assert found == sent[: len(found)]
    assert len(found) == TX_SIZE // (len(sent[0]) + 4)
    assert data.endswith(b"\0")


def test_at_115200_baud_replies_come_first() -> None:
    """57.6 bytes in a tick: telemetry that finds no room is dropped and counted."""
    slow = native.build_library("core_115200.so", (*native.CHECKED, "-DTX_BYTES_PER_TICK=52"))
    host = Host(lib=native.load(slow))
    host.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    before = host.board.fields().unasked_dropped  # in the tick of the subscription itself
    host.events.clear()
    host.replies.clear()
    sent, answered, longest, waiting = 0, 0, 0, 0
    for tick in range(2000):
        asks = tick % 3 == 0
        host.tick(host.frame("settings_get", which=0, scope=1, first_key=1) if asks else b"")
        sent += len(host.board.sent())
        waiting = 0 if host.replies else waiting + 1
        longest = max(longest, waiting)
        assert all(m.fields["status"] == Status.OK for m in host.replies)
        answered += len(host.replies)
        host.replies.clear()
    assert answered >= 2000 // 3
    assert longest <= 4
    assert sent <= 2000 * 57.6
    fields = host.board.fields()
    due = 2000 + 2000 // 10
    dropped = fields.unasked_dropped - before
    assert dropped + len(host.events) == due
    assert 0 < dropped < due
    assert fields.frames_dropped == 0


def test_at_115200_baud_telemetry_every_20_ms_has_room() -> None:
    """As SPEC.md advises: nothing is lost at rest, and a long reply costs one frame at most."""
    slow = native.build_library("core_115200.so", (*native.CHECKED, "-DTX_BYTES_PER_TICK=52"))
    host = Host(lib=native.load(slow))
    host.ask("subscribe", axis_period_ms=20, board_period_ms=100)
    for number in range(50):
        before, asked = host.board.fields().unasked_dropped, number % 2
        host.tick(host.frame("settings_get", which=0, scope=1, first_key=1) if asked else b"")
        for _ in range(40):
            host.tick()
        assert host.board.fields().unasked_dropped - before <= asked
