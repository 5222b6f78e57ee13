"""RECORDING.md is enough: a reader written from that page alone, without the package's code."""

from __future__ import annotations

import json
import struct
import zlib
from pathlib import Path
from typing import Any

from rodbench.board import AxisSample, Event
from rodbench.record import layout
from rodbench.record.recording import Recording

from tests.record.bench import recorder, two_axes

PAGE = Path(layout.__file__).with_name("RECORDING.md")


def read_header(data: bytes) -> tuple[dict[str, Any], int]:
    assert data[:8] == b"rodrec\r\n"
    version, none, length, crc = struct.unpack_from("<HHII", data, 8)
    text = data[20 : 20 + length]
    assert (version, none, crc) == (1, 0, zlib.crc32(text))
    return json.loads(text), 20 + length


def unfold(planes: bytes, rows: int) -> list[int]:
    """One column of four planes."""
    values, value = [], 0
    for row in range(rows):
        folded = int.from_bytes(planes[row::rows], "little")
        value = (value + (folded // 2 if folded % 2 == 0 else -(folded + 1) // 2)) % 2**32
        values.append(value)
    return values


def across(columns: dict[str, list[int]]) -> list[tuple[int, ...]]:
    return list(zip(*columns.values(), strict=True))


def read_file(data: bytes) -> tuple[dict[str, Any], dict[str, list[dict[str, int]]], list[Any]]:
    """Header, rows of each table with absolute host times, facts."""
    header, place = read_header(data)
    tables: dict[str, list[dict[str, int]]] = {"axis": [], "board": [], "event": []}
    facts: list[Any] = []
    number = 0
    while place < len(data):
        head = data[place : place + 68]
        assert head[:4] == b"\xa5blk"
        assert struct.unpack("<I", head[64:])[0] == zlib.crc32(head[:64])
        at, length, crc = struct.unpack_from("<III", head, 4)
        rows = struct.unpack_from("<3H", head, 16)
        fact_bytes, first = (
            struct.unpack_from("<I", head, 24)[0],
            struct.unpack_from("<q", head, 40)[0],
        )
        packed = data[place + 68 : place + 68 + length]
        assert (at, crc) == (number, zlib.crc32(packed))
        plain, used = zlib.decompress(packed), 0
        for name, count in zip(tables, rows, strict=True):
            columns = {}
            for column, kind in header["columns"][name].items():
                values = unfold(plain[used : used + 4 * count], count) if count else []
                used += 4 * count
                if kind == "i32":
                    values = [v - 2**32 if v >= 2**31 else v for v in values]
                columns[column] = values
            columns["host_us"] = [first + us for us in columns["host_us"]]
            tables[name] += [dict(zip(columns, row, strict=True)) for row in across(columns)]
        assert used + fact_bytes == len(plain)
        facts += json.loads(plain[used:]) if fact_bytes else []
        place, number = place + 68 + length, number + 1
    return header, tables, facts


def test_a_stranger_reads_the_same(tmp_path: Path) -> None:
    board, clock, _ = two_axes()
    with board:
        board.subscribe(0.01, 0.1)
        recording = recorder(tmp_path, board)
        motion = board.axis(1).move(60.0)
        while clock.now() < 8.0:
            for seen in board.pump(0.02):
                recording.take(seen, clock.now())
            recording.tend()
    del motion
    path = recording.close()
    header, tables, facts = read_file(path.read_bytes())
    ours = list(Recording.open(path).samples())
    rows = sorted([row for table in tables.values() for row in table], key=lambda r: r["order"])
    assert [row["order"] for row in rows] == list(range(len(ours)))
    assert [row["tick"] for row in rows] == [s.tick for s in ours]
    axis = [s for s in ours if isinstance(s, AxisSample)]
    theirs = sorted(tables["axis"], key=lambda r: r["order"])
    assert [r["position_um"] / 1000 for r in theirs] == [s.position_mm for s in axis]
    assert [r["current_ma"] / 1000 for r in theirs] == [s.current_a for s in axis]
    events = [s for s in ours if isinstance(s, Event)]
    assert [(r["kind"], r["tick"]) for r in tables["event"]] == [(e.kind, e.tick) for e in events]
    assert header["scopes"]["1"]["stroke_um"] == 100_000
    assert facts[-1]["fact"] == "end"
    assert facts[-1]["frames"] == len(ours)


def test_the_page_names_what_is_written(tmp_path: Path) -> None:
    page = PAGE.read_text()
    assert f"A head of {layout.HEAD_SIZE} bytes" in page
    assert f"version {layout.VERSION}" in page
    assert layout.SUFFIX in page
    for fact in ("gap", "mark", "settings", "end"):
        assert f"| `{fact}` |" in page
