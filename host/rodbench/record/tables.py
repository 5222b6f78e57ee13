"""Tables of a block as columns by name, and their rows as what the board sent."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from rodbench_protocol.names import AxisFlags, AxisTelemetry, BoardTelemetry
from rodbench_protocol.names import Event as WireEvent

from rodbench.link.api import Unasked
from rodbench.record.layout import TABLES, Head, Words, unpack_block
from rodbench.record.timeline import Timeline

_KINDS: dict[str, Any] = {"axis": AxisTelemetry, "board": BoardTelemetry, "event": WireEvent}
# converted columns: of which wire column, divided by what
CONVERTED: dict[str, tuple[str, float]] = {
    "position_mm": ("position_um", 1000.0),
    "speed_mm_s": ("speed_um_s", 1000.0),
    "reference_mm": ("reference_um", 1000.0),
    "current_a": ("current_ma", 1000.0),
    "output": ("output_permille", 1000.0),
    "duty_used": ("duty_used_permille", 1000.0),
    "supply_v": ("supply_mv", 1000.0),
    "board_5v": ("board_5v_mv", 1000.0),
}
_NEED_CALIBRATION = ("position_mm", "speed_mm_s", "reference_mm")
Columns = dict[str, npt.NDArray[Any]]


class Row(NamedTuple):
    """One frame: its place among all that were taken, its time, and what the board sent."""

    order: int
    t_s: float
    wire: Unasked


@dataclass(slots=True)
class Block:
    """Tables by name, columns by name: int64, and `t_s`, `host_s`. Facts are the JSON objects."""

    start: int
    tables: dict[str, Columns]
    facts: list[dict[str, Any]]

    def rows(self, table: str, start_s: float, end_s: float) -> Iterator[Row]:
        """Rows of a time, as what the board sent."""
        found, kind = self.tables[table], _KINDS[table]
        t_s = found["t_s"]
        kept = np.nonzero((t_s >= start_s) & (t_s <= end_s))[0]
        none = np.zeros(len(t_s), np.int64)  # what an older file does not say
        columns = [found.get(name, none)[kept].tolist() for name in kind._fields]
        orders, times = found["order"][kept].tolist(), t_s[kept].tolist()
        for order, time, *values in zip(orders, times, *columns, strict=True):
            yield Row(order, time, kind(*values))


class Tables:
    """How to decode the blocks of one file: `said` is its header's `columns`."""

    def __init__(self, said: Mapping[str, Mapping[str, str]]) -> None:
        self._names = {name: list(said[name]) for name in TABLES}
        self._signed = {
            name: [kind.startswith("i") for kind in said[name].values()] for name in TABLES
        }
        self._widths = tuple(len(self._names[name]) for name in TABLES)

    def block(self, head: Head, packed: bytes, times: Timeline) -> Block:
        """Raises ValueError for bytes that are no block of this file."""
        a, b, e = self._widths
        tables, facts = unpack_block(head, packed, (a, b, e))
        named = {
            name: self._columns(name, words, head, times)
            for name, words in zip(TABLES, tables, strict=True)
        }
        return Block(head.start, named, facts)

    def _columns(self, table: str, words: Words, head: Head, times: Timeline) -> Columns:
        found: Columns = {}
        for name, signed, word in zip(self._names[table], self._signed[table], words, strict=True):
            found[name] = (word.view(np.int32) if signed else word).astype(np.int64)
        found["host_us"] += head.host_us[0]
        found["host_s"] = found["host_us"] / 1e6
        found["t_s"] = times.times(head.start, found["tick"])
        return found


def column(found: Columns, name: str) -> npt.NDArray[Any]:
    """A column by its wire name, or converted; NaN where the axis was uncalibrated."""
    if name not in CONVERTED:
        return found[name]
    wire, unit = CONVERTED[name]
    values = found[wire] / unit
    if name in _NEED_CALIBRATION:
        values[(found["flags"] & AxisFlags.CALIBRATED) == 0] = np.nan
    return np.asarray(values)


def joined(parts: Sequence[Columns], names: Sequence[str]) -> Columns:
    """Columns of several blocks as one."""
    if not parts:
        return {name: np.zeros(0) for name in names}
    return {name: np.concatenate([part[name] for part in parts]) for name in names}
