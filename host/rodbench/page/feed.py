"""What a page shows: live from a board, or from a recording. No widget and no socket is here."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from rodbench.board import RESTING, AxisSample, BoardSample, Event, LinkStatistics, Sample
from rodbench.settings.parse import Named
from rodbench.settings.units import Units

KEPT_S = 60.0
RATE_HZ = 100
EVENTS_KEPT = 200
STROKES_KEPT = 6  # of each axis, the present one included
Column: TypeAlias = npt.NDArray[np.float64]
_COLUMNS = ("t_s", "position_mm", "reference_mm", "current_a", "output", "raw")


class Trace:
    """The last 60 s of an axis by board time. Columns are in order of time; nan: not known."""

    def __init__(self, kept: int = round(KEPT_S * RATE_HZ)) -> None:
        self._kept = kept
        # every row is written twice, a length apart, so that the last `kept` lie side by side
        self._rows = np.full((2 * kept, len(_COLUMNS)), np.nan)
        self._count = 0

    def add(self, sample: AxisSample) -> None:
        """One sample more; a board that started anew begins a new trace."""
        if self._count and sample.time_s < self._rows[self._at(), 0]:
            self._count = 0
        row = (
            sample.time_s,
            np.nan if sample.position_mm is None else sample.position_mm,
            np.nan if sample.reference_mm is None else sample.reference_mm,
            sample.current_a,
            sample.output,
            sample.raw,
        )
        self._count += 1
        at = self._at()
        self._rows[at] = self._rows[at - self._kept] = row

    def clear(self) -> None:
        """Forget all."""
        self._count = 0

    def _at(self) -> int:
        return self._kept + (self._count - 1) % self._kept

    def _column(self, number: int) -> Column:
        stop = self._at() + 1
        return self._rows[stop - min(self._count, self._kept) : stop, number].copy()

    def __len__(self) -> int:
        return min(self._count, self._kept)

    @property
    def t_s(self) -> Column:
        """Board time in s."""
        return self._column(0)

    @property
    def position_mm(self) -> Column:
        """From the retracted end."""
        return self._column(1)

    @property
    def reference_mm(self) -> Column:
        """Where the ramp wants it."""
        return self._column(2)

    @property
    def current_a(self) -> Column:
        """Motor current."""
        return self._column(3)

    @property
    def output(self) -> Column:
        """-1 .. 1 of full."""
        return self._column(4)

    @property
    def raw(self) -> Column:
        """Reading of the pot."""
        return self._column(5)


@dataclass(slots=True)
class Stroke:
    """Current against position of one run in one direction; `way` 1 extends, -1 retracts."""

    way: int
    begun_s: float  # board time
    position_mm: list[float] = field(default_factory=list)
    current_a: list[float] = field(default_factory=list)
    over: bool = False

    def take(self, sample: AxisSample) -> None:
        """A place on the way."""
        if sample.position_mm is not None:
            self.position_mm.append(sample.position_mm)
            self.current_a.append(abs(sample.current_a))


class Feed:
    """What was last heard of a machine. `version` rises with each change."""

    replay = False

    def __init__(self) -> None:
        self.name = ""
        self.rods: dict[int, str | None] = {}
        self.units = Units("mm")
        self.scopes: dict[int, dict[str, int]] = {}  # settings in force, wire units
        self.machine_file: Path | None = None
        self.positions: Mapping[str, Named] = {}
        self.last_axis: dict[int, AxisSample] = {}
        self.last_board: BoardSample | None = None
        self.traces: dict[int, Trace] = {}
        self.strokes: dict[int, list[Stroke]] = {}  # the last is the present one
        self.baseline: dict[int, list[Stroke]] = {}  # of the proof run that others are held to
        self.targets: dict[int, float] = {}  # mm, by axis: of the move that a page has under way
        self.events: deque[tuple[float, Event]] = deque(maxlen=EVENTS_KEPT)
        self.notes: deque[tuple[float, str]] = deque(maxlen=EVENTS_KEPT)  # of this program
        self.digest = 0
        self.stored = False
        self.commander = ""  # who else commands the board, in words
        self.lost = ""  # why nothing comes
        self.recording = ""  # the file's name
        self.link: LinkStatistics | None = None
        self.version = 0
        self.tick = 0  # the newest of the board

    def take(self, sample: Sample) -> None:
        """A sample or an event of the board."""
        if isinstance(sample, AxisSample):
            self.last_axis[sample.axis] = sample
            self.traces.setdefault(sample.axis, Trace()).add(sample)
            self._stroke(sample)
        elif isinstance(sample, BoardSample):
            self.last_board = sample
        else:
            self.events.append((time.time(), sample))
        self.version += 1

    def note(self, text: str) -> None:
        """Something that this program says, beside the board's own events."""
        self.notes.append((time.time(), text))
        self.version += 1

    @property
    def moving(self) -> bool:
        """Whether any rod is driven, or may be."""
        return any(sample.state not in RESTING for sample in self.last_axis.values())

    def _stroke(self, sample: AxisSample) -> None:
        strokes = self.strokes.setdefault(sample.axis, [])
        way = (sample.output > 0) - (sample.output < 0)
        present = strokes[-1] if strokes and not strokes[-1].over else None
        if present is not None and (sample.state in RESTING or way == -present.way):
            present.over, present = True, None
        if present is None and way and sample.state not in RESTING:
            present = Stroke(way, sample.time_s)
            strokes.append(present)
            del strokes[:-STROKES_KEPT]
        if present is not None:
            present.take(sample)
