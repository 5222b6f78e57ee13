"""Frames: COBS over payload and CRC, ended by one 0x00. Bytes in, frames out; no port, no clock.

CRC-16/IBM-3740: poly 0x1021, init 0xFFFF, not reflected, no final xor, high byte first, so that
the CRC over payload and CRC is 0.
"""

from __future__ import annotations

import binascii

from cobs import cobs

from rodbench_protocol.errors import FrameError

FRAME_MAX = 64
"""Decoded frame with its CRC, in bytes; the board's buffers have this size."""
ENCODED_MAX = FRAME_MAX + 1
FRAME_MIN = 5
"""Header and CRC, in bytes."""


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of some bytes."""
    return binascii.crc_hqx(data, 0xFFFF)


def encode(payload: bytes) -> bytes:
    """A frame with its closing 0x00 for header and body; FrameError when it is too long."""
    if len(payload) + 2 > FRAME_MAX:
        raise FrameError("long")
    if len(payload) + 2 < FRAME_MIN:
        raise FrameError("short")
    return cobs.encode(payload + crc16(payload).to_bytes(2, "big")) + b"\0"  # type: ignore[no-any-return]


def decode(frame: bytes) -> bytes:
    """Header and body of a frame given without its closing 0x00; FrameError when not good."""
    if not frame:
        raise FrameError("empty")
    if len(frame) > ENCODED_MAX:
        raise FrameError("long")
    try:
        data: bytes = cobs.decode(frame)
    except cobs.DecodeError:
        raise FrameError("cobs") from None
    if len(data) < FRAME_MIN:
        raise FrameError("short")
    if binascii.crc_hqx(data, 0xFFFF):
        raise FrameError("crc")
    return data[:-2]


class Splitter:
    """Cuts a byte stream at 0x00. Holds at most one frame; longer runs are dropped and counted."""

    def __init__(self) -> None:
        self._rest = b""
        self._skipping = False
        self.overlong = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Raw frames without their 0x00 that these bytes complete; empty ones are left out."""
        *whole, rest = (self._rest + data).split(b"\0")
        if whole and self._skipping:
            whole, self._skipping = whole[1:], False
        frames = [f for f in whole if 0 < len(f) <= ENCODED_MAX]
        self.overlong += sum(len(f) > ENCODED_MAX for f in whole)
        if len(rest) > ENCODED_MAX and not self._skipping:
            self._skipping = True
            self.overlong += 1
        self._rest = b"" if self._skipping else rest
        return frames
