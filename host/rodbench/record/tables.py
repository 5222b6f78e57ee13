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
_CALIBRATED = int(AxisFlags.CALIBRATED)
Columns = dict[str, npt.NDArray[Any]]
Layout = dict[str, tuple[int, bool]]  # place of a column, and whether it has a sign
Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]


class Row(NamedTuple):
    """One frame: its place among all that were taken, its time, and what the board sent."""

    order: int
    t_s: float
    wire: Unasked


class Table:
    """Rows as columns by name, int64, made when they are asked for; `t_s` and `host_s` too."""

    def __init__(self, layout: Layout, words: Words, t_s: Floats, host_us: Whole) -> None:
        self._layout = layout
        self.words = words  # columns by rows
        self.t_s = t_s
        self.host_us = host_us

    def __len__(self) -> int:
        return len(self.t_s)

    def __getitem__(self, name: str) -> npt.NDArray[Any]:
        if name == "t_s":
            return self.t_s
        if name in ("host_us", "host_s"):
            return self.host_us if name == "host_us" else self.host_us / 1e6
        place, signed = self._layout[name]
        word = self.words[place]
        return np.asarray(word.view(np.int32) if signed else word, np.int64)

    def get(self, name: str) -> npt.NDArray[Any]:
        """As []; zeros for what an older file does not say."""
        return self[name] if name in self._layout else np.zeros(len(self), np.int64)

    def joined(self, others: Sequence[Table]) -> Table:
        """Its rows and those of others of its kind."""
        parts = [self, *others]
        return Table(
            self._layout,
            np.concatenate([part.words for part in parts], axis=1),
            np.concatenate([part.t_s for part in parts]),
            np.concatenate([part.host_us for part in parts]),
        )


@dataclass(slots=True)
class Block:
    """Tables by name. Facts are the JSON objects."""

    start: int
    tables: dict[str, Table]
    facts: list[dict[str, Any]]

    def rows(self, table: str, start_s: float, end_s: float) -> Iterator[Row]:
        """Rows of a time, as what the board sent."""
        found, kind = self.tables[table], _KINDS[table]
        kept = np.nonzero((found.t_s >= start_s) & (found.t_s <= end_s))[0]
        columns = [found.get(name)[kept].tolist() for name in kind._fields]
        orders, times = found["order"][kept].tolist(), found.t_s[kept].tolist()
        for order, time, *values in zip(orders, times, *columns, strict=True):
            yield Row(order, time, kind(*values))


class Tables:
    """How to decode the blocks of one file: `said` is its header's `columns`."""

    def __init__(self, said: Mapping[str, Mapping[str, str]]) -> None:
        self._layouts: dict[str, Layout] = {
            table: {
                name: (place, kind.startswith("i"))
                for place, (name, kind) in enumerate(said[table].items())
            }
            for table in TABLES
        }
        a, b, e = (len(self._layouts[table]) for table in TABLES)
        self._widths = (a, b, e)

    def block(self, head: Head, packed: bytes, times: Timeline) -> Block:
        """Raises ValueError for bytes that are no block of this file."""
        tables, facts = unpack_block(head, packed, self._widths)
        named = {
            name: self._table(name, words, head, times)
            for name, words in zip(TABLES, tables, strict=True)
        }
        return Block(head.start, named, facts)

    def none(self, name: str) -> Table:
        """A table without a row."""
        words = np.zeros((len(self._layouts[name]), 0), np.uint32)
        return Table(self._layouts[name], words, np.zeros(0), np.zeros(0, np.int64))

    def _table(self, name: str, words: Words, head: Head, times: Timeline) -> Table:
        if not words.shape[1]:
            return self.none(name)
        layout = self._layouts[name]
        host_us = words[layout["host_us"][0]].astype(np.int64) + head.host_us[0]
        ticks = words[layout["tick"][0]].astype(np.int64)
        return Table(layout, words, times.times(head.start, ticks), host_us)


def column(found: Table, name: str) -> npt.NDArray[Any]:
    """A column by its wire name, or converted; NaN where the axis was uncalibrated."""
    if name not in CONVERTED:
        return found[name]
    wire, unit = CONVERTED[name]
    values = found[wire] / unit
    if name in _NEED_CALIBRATION:
        values[(found["flags"] & _CALIBRATED) == 0] = np.nan
    return np.asarray(values)


def joined(parts: Sequence[Columns], names: Sequence[str]) -> Columns:
    """Columns of several blocks as one."""
    if not parts:
        return {name: np.zeros(0) for name in names}
    return {name: np.concatenate([part[name] for part in parts]) for name in names}
