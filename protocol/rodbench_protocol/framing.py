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
_uncobs = cobs.decode
_crc_hqx = binascii.crc_hqx


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
    try:
        data: bytes = _uncobs(frame)
    except cobs.DecodeError:
        raise FrameError("long" if len(frame) > ENCODED_MAX else "cobs") from None
    if _crc_hqx(data, 0xFFFF) or not FRAME_MIN <= len(data) <= FRAME_MAX:
        raise FrameError(_reason(data))
    return data[:-2]


def _reason(data: bytes) -> str:
    if not data:
        return "empty"
    if len(data) > FRAME_MAX:
        return "long"
    return "short" if len(data) < FRAME_MIN else "crc"


class Splitter:
    """Cuts a byte stream at 0x00. Holds at most one frame; longer runs are dropped and counted."""

    def __init__(self) -> None:
        self._rest = b""
        self._skipping = False
        self.overlong = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Raw frames without their 0x00 that these bytes complete; empty ones are left out."""
        parts = (self._rest + data).split(b"\0")
        self._rest = parts.pop()
        if self._skipping or len(self._rest) > ENCODED_MAX:
            self._skip(parts)
        for part in parts:
            if not 0 < len(part) <= ENCODED_MAX:
                return self._good(parts)
        return parts

    def _skip(self, parts: list[bytes]) -> None:
        """Drops the end of a run that was too long, and what has come of one that is."""
        if parts and self._skipping:
            del parts[0]
            self._skipping = False
        if not self._skipping and len(self._rest) > ENCODED_MAX:
            self._skipping = True
            self.overlong += 1
        if self._skipping:
            self._rest = b""

    def _good(self, parts: list[bytes]) -> list[bytes]:
        self.overlong += sum(len(part) > ENCODED_MAX for part in parts)
        return [part for part in parts if 0 < len(part) <= ENCODED_MAX]
