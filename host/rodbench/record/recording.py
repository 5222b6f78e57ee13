"""Reading a recording: block by block, so that ten hours take no more memory than a minute."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from rodbench.board import Event, Sample, convert
from rodbench.clock import TICK_S
from rodbench.record import reader
from rodbench.record.account import Account
from rodbench.record.layout import TABLES, RecordingError, unpack_head
from rodbench.record.tables import Block, Columns, Row, Table, Tables, column, joined
from rodbench.record.timeline import Timeline, since
from rodbench.science.clock_fit import Drift, fit

_NEEDED = ("machine", "rods", "started", "hello", "digest", "scopes", "columns")
TOGETHER = 256  # blocks of a piece: some minutes
OLD_EVENT_S = 5.0  # an event tells when it happened, and may come later than that


@dataclass(frozen=True, slots=True)
class Gap:
    """Time of which nothing, or not all, is there. `missed` frames; None: not known how many."""

    start_s: float
    end_s: float
    why: str
    missed: int | None

    def __str__(self) -> str:
        many = "frame" if self.missed == 1 else "frames"
        lost = "" if self.missed is None else f", {self.missed} {many} missing"
        return f"at {self.start_s:.2f} s for {self.end_s - self.start_s:.2f} s: {self.why}{lost}"


@dataclass(frozen=True, slots=True)
class Change:
    """Settings in force from `t_s` on, wire units."""

    t_s: float
    digest: str
    scopes: Mapping[int, Mapping[str, int]]


class Recording:
    """A recording in a file, ended or under way. Times `t_s` are the board's, from the first sample
    on; see `Timeline` for those while it was away."""

    def __init__(self, path: Path, header: dict[str, Any], scan: reader.Scan, size: int) -> None:
        self.path = path
        self.header = header
        self.whole_bytes = scan.end
        self.repaired = _torn(path, size - scan.end)
        self.gaps: list[Gap] = []
        self._places = scan.places
        self._heads = scan.heads
        self._tables = Tables(header["columns"])
        self._times = Timeline(self._heads)
        self._facts: list[dict[str, Any]] = []

    @classmethod
    def open(cls, path: Path) -> Recording:
        """Raises RecordingError for what is no recording, or a newer one. What is damaged is
        skipped and said: a torn tail in `repaired`, the rest among the `gaps`."""
        try:
            with path.open("rb") as file:
                header, begin = reader.read_header(file, path)
                _check(header, path)
                scan = reader.scan(file, begin)
                made = cls(path, header, scan, file.seek(0, 2))
                made._learn(file)
        except OSError as error:
            raise RecordingError(
                f"{path}: {error.strerror or error}", kept="nothing was changed"
            ) from None
        return made

    # -- what it says of itself

    @property
    def duration_s(self) -> float:
        """Board time from the first to the last sample."""
        return self._times.end_s

    @property
    def host_end_s(self) -> float:
        """Host time of the last thing that was kept, from the start on."""
        told = [fact["host_us"] for fact in self._facts if fact["fact"] in ("mark", "end")]
        ends = self._heads["host_us"] + self._heads["last_us"]
        latest: int = max([0, *told, int(ends.max(initial=0))])
        return latest / 1e6

    @property
    def frames(self) -> int:
        """Telemetry and events in the file."""
        return int(self._heads["rows"].sum())

    @property
    def ended(self) -> str:
        """Why it ended; "": it did not: killed, or under way."""
        last = self._facts[-1] if self._facts else {"fact": ""}
        return str(last["ended"]) if last["fact"] == "end" else ""

    @property
    def axes(self) -> list[int]:
        """Axes of the board."""
        return list(range(1, 1 + int(self.header["hello"]["axis_count"])))

    @property
    def board_clock(self) -> Drift:
        """The board's clock against the host's, over the longest start of the board."""
        heads = self._heads[self._heads["rows"][:, :2].any(axis=1)]
        if not len(heads):
            return fit(np.zeros(0), np.zeros(0))
        heads = heads[heads["start"] == np.argmax(np.bincount(heads["start"]))]
        ticks = heads["ticks"][:, 2].astype(np.int64)
        host_s = (heads["host_us"] + heads["best_us"]) / 1e6
        return fit(np.asarray(since(ticks, int(ticks[0])) * TICK_S, np.float64), host_s)

    @property
    def settings(self) -> list[Change]:
        """What was in force, from the beginning on."""
        first = [Change(0.0, self.header["digest"], _scopes(self.header))]
        later = [fact for fact in self._facts if fact["fact"] == "settings"]
        return first + [Change(self._at(f["at"]), f["digest"], _scopes(f)) for f in later]

    @property
    def marks(self) -> list[tuple[float, dict[str, Any]]]:
        """What the recorder was told to keep, with its time."""
        return [(self._at(fact["at"]), fact) for fact in self._facts if fact["fact"] == "mark"]

    # -- what was recorded

    def axis(
        self,
        number: int,
        columns: Sequence[str],
        start_s: float = -math.inf,
        end_s: float = math.inf,
    ) -> Columns:
        """Columns of an axis: `t_s`, `host_s`, wire names (`raw`, `state` ...), or converted ones
        (tables.CONVERTED), NaN where the axis was uncalibrated."""
        return joined(list(self.parts("axis", columns, start_s, end_s, number)), columns)

    def parts(
        self,
        table: str,
        columns: Sequence[str],
        start_s: float = -math.inf,
        end_s: float = math.inf,
        axis: int | None = None,
    ) -> Iterator[Columns]:
        """As `axis`, piece by piece, for what must not hold all; tables are axis, board, event."""
        for found in self.pieces(table, start_s, end_s):
            kept = (found.t_s >= start_s) & (found.t_s <= end_s)
            if axis is not None:
                kept &= found["axis"] == axis
            if kept.any():
                yield {name: column(found, name)[kept] for name in columns}

    def pieces(
        self, table: str, start_s: float = -math.inf, end_s: float = math.inf
    ) -> Iterator[Table]:
        """The table of many blocks at a time, which reach into that time; at least one."""
        blocks = self.blocks(start_s, end_s)
        first = True
        while some := list(islice(blocks, TOGETHER)):
            yield some[0].tables[table].joined([block.tables[table] for block in some[1:]])
            first = False
        if first:
            yield self._tables.none(table)

    def samples(self, start_s: float = -math.inf, end_s: float = math.inf) -> Iterator[Sample]:
        """As Board.poll gave them, in their order."""
        return (sample for _, sample in self.timed_samples(start_s, end_s))

    def timed_samples(
        self, start_s: float = -math.inf, end_s: float = math.inf
    ) -> Iterator[tuple[float, Sample]]:
        """As `samples`, each with its `t_s`."""
        minor = self._minor
        for block in self.blocks(start_s, end_s):
            rows = [block.rows(table, start_s, end_s) for table in TABLES if table != "axis"]
            axes = sorted(block.rows("axis", start_s, end_s), key=_order)
            for row in heapq.merge(axes, *rows, key=_order):
                yield row.t_s, convert.sample(row.wire, minor)

    def events(self, start_s: float = -math.inf, end_s: float = math.inf) -> list[Event]:
        """Events of a time."""
        return [event for _, event in self.timed_events(start_s, end_s)]

    def timed_events(
        self, start_s: float = -math.inf, end_s: float = math.inf
    ) -> list[tuple[float, Event]]:
        """Events of a time, each with its `t_s`; only the blocks that hold some are read."""
        found: list[Row] = []
        with self._open() as file:
            for index in np.nonzero(self._heads["rows"][:, 2])[0].tolist():
                found += self._block(file, index).rows("event", start_s, end_s)
        return [(row.t_s, convert.event(row.wire)) for row in found]  # type: ignore[arg-type]

    def blocks(self, start_s: float = -math.inf, end_s: float = math.inf) -> Iterator[Block]:
        """Blocks that reach into a time, and those whose events may be of it."""
        times = self._times
        old_s = np.where(self._heads["rows"][:, 2], OLD_EVENT_S, 0.0)
        wanted = np.nonzero((times.last >= start_s) & (times.first - old_s <= end_s))[0]
        with self._open() as file:
            for index in wanted.tolist():
                yield self._block(file, index)

    # -- to go on in it

    @property
    def next_block(self) -> int:
        """Number of the block that comes next."""
        return int(self._heads["number"][-1]) + 1 if len(self._heads) else 0

    @property
    def next_order(self) -> int:
        """Place of the next frame among all that were taken."""
        full = np.nonzero(self._heads["rows"].any(axis=1))[0]
        if not len(full):
            return 0
        with self._open() as file:
            return _orders(self._block(file, int(full[-1])))[1] + 1

    def account(self) -> Account:
        """Where the frames stand, for one who goes on; what comes next is of another start."""
        made = Account(missed=sum(gap.missed or 0 for gap in self.gaps), gaps=len(self.gaps))
        for last in self._heads[self._heads["rows"].any(axis=1)][-1:]:
            made.start, made.tick = int(last["start"]), int(last["ticks"][1])
            made.host_us = int(last["host_us"]) + int(last["last_us"])
            made.anew = "the recording was gone on with"
        return made

    # -- the parts

    @property
    def _minor(self) -> int:
        return int(self.header["hello"]["protocol_minor"])

    def _open(self) -> BinaryIO:
        try:
            return self.path.open("rb")
        except OSError as error:
            raise RecordingError(f"{self.path}: {error.strerror or error}") from None

    def _block(self, file: BinaryIO, index: int) -> Block:
        head = unpack_head(self._heads[index].tobytes())
        assert head is not None
        file.seek(self._places[index])
        try:
            return self._tables.block(head, file.read(head.length), self._times)
        except ValueError as error:
            raise RecordingError(
                f"{self.path}: block {head.number} is not what its head says: {error}"
            ) from None

    def _at(self, place: Sequence[int | None]) -> float:
        start, tick = place
        return 0.0 if start is None or tick is None else self._times.at(start, tick)

    def _learn(self, file: BinaryIO) -> None:
        """Gaps and facts: only the blocks that hold some, or lie beside damage, are read."""
        numbers = self._heads["number"].astype(np.int64)
        hole = np.diff(numbers, prepend=-1) != 1
        for index in np.nonzero(hole | (self._heads["facts"] > 0))[0].tolist():
            if hole[index]:
                self.gaps.append(self._hole(file, index))
            if self._heads["facts"][index]:
                facts = self._block(file, index).facts
                self._facts += facts
                self.gaps += [self._gap(fact) for fact in facts if fact["fact"] == "gap"]

    def _gap(self, fact: Mapping[str, Any]) -> Gap:
        begin = self._at(fact["from"])
        if fact["to"] is not None:
            return Gap(begin, self._at(fact["to"]), fact["why"], fact["missed"])
        first, last = fact["host_us"]
        return Gap(begin, begin + (last - first) / 1e6, fact["why"], fact["missed"])

    def _hole(self, file: BinaryIO, index: int) -> Gap:
        """Blocks that are missing before this one."""
        begin = float(self._times.last[index - 1]) if index else 0.0
        beside = [self._block(file, i) for i in (index - 1, index) if i >= 0]
        orders = [_orders(block) for block in beside if _frames(block)]
        missed = orders[1][0] - orders[0][1] - 1 if len(orders) == 2 else None
        return Gap(begin, float(self._times.first[index]), "damaged in the file", missed)


def _order(row: Row) -> int:
    return row.order


def _frames(block: Block) -> int:
    return sum(len(table) for table in block.tables.values())


def _orders(block: Block) -> tuple[int, int]:
    """First and last place of its frames."""
    orders = np.concatenate([table["order"] for table in block.tables.values()])
    return int(orders.min()), int(orders.max())


def _check(header: Mapping[str, Any], path: Path) -> None:
    missing = [name for name in _NEEDED if name not in header]
    if missing:
        raise RecordingError(f"{path}: its header lacks {', '.join(missing)}", kept=reader.KEPT)


def _torn(path: Path, spare: int) -> str:
    if not spare:
        return ""
    return (
        f"{path.name}: the last {spare} bytes are no whole block (cut off by a kill or a power "
        "cut, or being written just now): left out"
    )


def _scopes(said: Mapping[str, Any]) -> dict[int, Mapping[str, int]]:
    return {int(number): values for number, values in said["scopes"].items()}
