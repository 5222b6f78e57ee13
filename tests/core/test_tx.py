"""A line that drains more slowly than it should loses whole frames, and nothing else."""

from __future__ import annotations

import ctypes as ct

from rodbench_protocol import framing, messages

from tests.core import native

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
