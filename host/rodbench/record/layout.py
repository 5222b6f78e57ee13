"""How a recording lies in its file: header, blocks, and tables packed by column. RECORDING.md says
it in words; nothing here reads or writes a file."""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from rodbench_protocol.schema import load_schema

from rodbench.errors import RodbenchError

VERSION = 1
MAGIC = b"rodrec\r\n"  # a transfer that changes line ends breaks it
MARKER = b"\xa5blk"
SUFFIX = ".rodrec"
TICK_US = 5000
HEADER = struct.Struct("<8sHHII")  # magic, version, 0, bytes of JSON, their CRC-32
HEADER_MOST = 1 << 22  # bytes of JSON
PAYLOAD_MOST = 1 << 25  # packed bytes of a block, and bytes of its facts
_HEAD = struct.Struct("<4sIIIHHHHIIIIqIIqI")
HEAD_SIZE = _HEAD.size
HEADS = np.dtype(
    [
        ("marker", "S4"), ("number", "<u4"), ("length", "<u4"), ("crc", "<u4"),
        ("rows", "<u2", 3), ("start", "<u2"), ("facts", "<u4"), ("ticks", "<u4", 3),
        ("host_us", "<i8"), ("last_us", "<u4"), ("best_us", "<u4"), ("wall_ms", "<i8"),
        ("head_crc", "<u4"),
    ]
)  # fmt: skip
"""The same for numpy: of ten hours there are 50 000, which as objects took ten times the room."""
Heads = npt.NDArray[np.void]
ROWS_MOST = 60_000  # of a table in one block
TABLES = {"axis": "telemetry_axis", "board": "telemetry_board", "event": "event"}
_OWN = (("order", "u32"), ("host_us", "u32"), ("counter", "i32"))
Words = npt.NDArray[np.uint32]
Columns = tuple[tuple[str, str], ...]


class RecordingError(RodbenchError):
    """A recording that cannot be read, or be written any further."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Head:
    """What stands before a block. Host times are in us since the recording's start; `best` is the
    frame that came with the least delay; `start` counts the board's starts within the recording."""

    number: int
    length: int = 0
    crc: int = 0
    rows: tuple[int, int, int] = (0, 0, 0)  # axis, board, event
    start: int = 0
    facts: int = 0  # bytes of JSON
    ticks: tuple[int, int, int] = (0, 0, 0)  # first, last, best
    host_us: tuple[int, int, int] = (0, 0, 0)  # first, last, best
    wall_ms: int = 0  # since 1970, UTC, when the block was written

    def pack(self) -> bytes:
        """Its bytes."""
        first, last, best = self.host_us
        plain = _HEAD.pack(
            MARKER, self.number, self.length, self.crc, *self.rows, self.start, self.facts,
            *self.ticks, first, last - first, best - first, self.wall_ms, 0,
        )[:-4]  # fmt: skip
        return plain + struct.pack("<I", zlib.crc32(plain))


def unpack_head(data: bytes) -> Head | None:
    """A head of its bytes; None for anything else."""
    if len(data) < HEAD_SIZE:
        return None
    marker, number, length, crc, a, b, e, start, facts, *rest = _HEAD.unpack(data[:HEAD_SIZE])
    if marker != MARKER or rest[-1] != zlib.crc32(data[: HEAD_SIZE - 4]):
        return None
    first = rest[3]
    hosts = (first, first + rest[4], first + rest[5])
    return Head(
        number, length, crc, (a, b, e), start, facts, (rest[0], rest[1], rest[2]), hosts, rest[6]
    )


def header_bytes(facts: Mapping[str, Any]) -> bytes:
    """The file's header, the columns of its tables included."""
    said = {**facts, "columns": all_columns()}
    text = json.dumps(said, ensure_ascii=False, indent=1, default=str).encode()
    return HEADER.pack(MAGIC, VERSION, 0, len(text), zlib.crc32(text)) + text


def all_columns() -> dict[str, dict[str, str]]:
    """As the header says them."""
    return {name: dict(columns(name)) for name in TABLES}


def columns(table: str) -> Columns:
    """Names and types of a table's columns in a file that this version writes."""
    fields = load_schema().messages[TABLES[table]].body.fields
    return _OWN + tuple((f.name, "i32" if f.type[0] == "i" else "u32") for f in fields)


def pack_table(words: Words) -> bytes:
    """Rows by columns, uint32: differences down each column, folded so that small ones of either
    sign are small, then all lowest bytes of a column first: long runs of 0 for zlib."""
    across = np.ascontiguousarray(words.T)
    step = np.diff(across, axis=1, prepend=np.uint32(0)).view(np.int32)
    folded = ((step << 1) ^ (step >> 31)).view(np.uint8)
    return folded.reshape(*across.shape, 4).transpose(0, 2, 1).tobytes()


def unpack_table(data: bytes, width: int, rows: int) -> Words:
    """Columns by rows, uint32, of what `pack_table` made."""
    planes = np.frombuffer(data, np.uint8).reshape(width, 4, rows)
    folded = np.ascontiguousarray(planes.transpose(0, 2, 1)).view(np.uint32)[:, :, 0]
    step = (folded >> 1) ^ (np.uint32(0) - (folded & 1))
    return np.cumsum(step, axis=1, dtype=np.uint32)


def pack_block(head: Head, tables: list[Words], facts: list[Mapping[str, Any]]) -> bytes:
    """A whole block: the head completed, then tables and facts, packed."""
    text = json.dumps(facts, ensure_ascii=False, default=str).encode() if facts else b""
    packed = zlib.compress(b"".join(pack_table(t) for t in tables if len(t)) + text, 6)
    a, b, e = (len(t) for t in tables)
    whole = replace(
        head, length=len(packed), crc=zlib.crc32(packed), rows=(a, b, e), facts=len(text)
    )
    return whole.pack() + packed


def unpack_block(
    head: Head, packed: bytes, widths: tuple[int, int, int]
) -> tuple[list[Words], list[dict[str, Any]]]:
    """Tables (columns by rows) and facts. Raises ValueError for what is no such block."""
    sizes = [4 * width * rows for width, rows in zip(widths, head.rows, strict=True)]
    data = _inflated(packed, sum(sizes) + head.facts)
    tables, at = [], 0
    for size, width, rows in zip(sizes, widths, head.rows, strict=True):
        none = np.zeros((width, 0), np.uint32)
        tables.append(unpack_table(data[at : at + size], width, rows) if rows else none)
        at += size
    return tables, json.loads(data[at:]) if head.facts else []


def _inflated(packed: bytes, size: int) -> bytes:
    """No more than is said, whatever the bytes would grow to."""
    inflater = zlib.decompressobj()
    try:
        data = inflater.decompress(packed, size + 1)
    except zlib.error as error:
        raise ValueError(str(error)) from None
    if len(data) != size:
        raise ValueError(f"{len(data)} bytes in place of {size}")
    return data
