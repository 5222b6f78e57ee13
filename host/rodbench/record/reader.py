"""The blocks of a recording's file: which are whole, and their bytes, one at a time."""

from __future__ import annotations

import json
import zlib
from array import array
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from rodbench.record.layout import (
    HEAD_SIZE,
    HEADER,
    HEADER_MOST,
    HEADS,
    MAGIC,
    MARKER,
    PAYLOAD_MOST,
    VERSION,
    Heads,
    RecordingError,
    unpack_head,
)

KEPT = "the file was left as it is"
_SEARCH = 1 << 20  # bytes looked through at a time for the next block behind damage


@dataclass(slots=True)
class Scan:
    """Whole blocks with the places of their packed bytes, and where the last one ends."""

    end: int
    places: array[int] = field(default_factory=lambda: array("q"))
    raw: bytearray = field(default_factory=bytearray)

    @property
    def heads(self) -> Heads:
        """The heads, in the order of the file."""
        return np.frombuffer(bytes(self.raw), HEADS)


def read_header(file: BinaryIO, path: Path) -> tuple[dict[str, Any], int]:
    """The header's facts, and where the first block begins. Raises RecordingError."""
    head = file.read(HEADER.size)
    if len(head) < HEADER.size or head[: len(MAGIC)] != MAGIC:
        raise _no_recording(path, head)
    _, version, _, length, crc = HEADER.unpack(head)
    if version > VERSION:
        raise RecordingError(
            f"{path} is of version {version} of the recordings, this program knows {VERSION}",
            kept=KEPT,
            hint="install the rodbench that wrote it, or a newer one",
        )
    text = file.read(length) if length <= HEADER_MOST else b""
    if version < 1 or len(text) < length or zlib.crc32(text) != crc:
        raise RecordingError(f"{path}: its header is damaged or cut off", kept=KEPT)
    try:
        facts = json.loads(text)
    except ValueError:
        raise RecordingError(f"{path}: its header is no JSON", kept=KEPT) from None
    return facts, HEADER.size + length


def _no_recording(path: Path, begin: bytes) -> RecordingError:
    torn = MAGIC.startswith(begin[: len(MAGIC)])
    what = "ends before its header does: nothing was recorded" if torn else "is no recording"
    return RecordingError(
        f"{path} {what}", kept=KEPT, hint="`rodbench record` makes them, in logbook/recordings"
    )


def scan(file: BinaryIO, begin: int) -> Scan:
    """Go through all blocks and check each; what is damaged is skipped up to the next whole one."""
    found, place = Scan(begin), begin
    while place >= 0:
        raw, length = _whole_block(file, place)
        if not raw:
            place = _next_marker(file, place + 1)
            continue
        found.places.append(place + HEAD_SIZE)
        found.raw += raw
        place += HEAD_SIZE + length
        found.end = place
    return found


def _whole_block(file: BinaryIO, place: int) -> tuple[bytes, int]:
    """A head's bytes, and how many follow it; none where there is no whole block."""
    file.seek(place)
    raw = file.read(HEAD_SIZE)
    head = unpack_head(raw)
    if head is None or head.length > PAYLOAD_MOST or head.facts > PAYLOAD_MOST:
        return b"", 0
    packed = file.read(head.length)
    whole = len(packed) == head.length and zlib.crc32(packed) == head.crc
    return (raw, head.length) if whole else (b"", 0)


def _next_marker(file: BinaryIO, place: int) -> int:
    """Where the next block may begin; -1: nowhere."""
    while True:
        file.seek(place)
        data = file.read(_SEARCH)
        at = data.find(MARKER)
        if at >= 0:
            return place + at
        if len(data) < _SEARCH:
            return -1
        place += len(data) - len(MARKER) + 1
