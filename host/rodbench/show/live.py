"""The live view of `watch`: both axes, what stands against a motion, link, and who commands.

It fits the screen it is given. What is needed least goes first: gaps, scales and the last event,
then what to do about each fault (`rodbench info` has it too), then the bars. Nothing is told by
colour alone.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rodbench_protocol.names import Inputs

from rodbench.board import AxisSample, BoardSample, Event, Sample
from rodbench.settings.units import Units
from rodbench.show.live_axis import Drawing, Rod, axis_lines, brief_lines
from rodbench.show.live_bars import BLOCKS, CurrentTrace
from rodbench.show.live_remarks import (
    axis_faults,
    axis_remarks,
    board_faults,
    event_line,
    wrapped,
)

if TYPE_CHECKING:
    from rodbench.board import LinkStatistics

WIDTH = 78
WIDEST = 118  # beyond this a line is harder to read, not richer
SILENT_S = 1.0  # without telemetry for so long it is said
NO_AXIS = "No axis is fitted. `rodbench commission` sets one up."
Scopes = Mapping[int, Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class Level:
    """How much is told."""

    gaps: bool = True
    scales: bool = True
    event: bool = True
    to_do: bool = True
    bars: bool = True


LEVELS = (
    Level(),
    Level(gaps=False),
    Level(gaps=False, event=False),
    Level(gaps=False, event=False, scales=False),
    Level(gaps=False, event=False, scales=False, to_do=False),
    Level(gaps=False, event=False, scales=False, to_do=False, bars=False),
)


@dataclass
class View:
    """What was last seen of board and axes, as lines."""

    scopes: Scopes
    rods: Mapping[int, str | None]
    units: Units
    title: str = ""
    blocks: str = BLOCKS
    axes: dict[int, AxisSample] = field(default_factory=dict)
    board: BoardSample | None = None
    link: LinkStatistics | None = None
    dropped: int = 0
    commands: str = ""  # who commands, in words
    lost: str = ""  # why the board is not reached
    last_event: str = ""
    notes: list[str] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    _traces: dict[int, CurrentTrace] = field(default_factory=dict)
    _heard_s: float = field(default_factory=time.monotonic)

    def take(self, sample: Sample) -> None:
        """A sample."""
        self._heard_s = time.monotonic()
        if isinstance(sample, AxisSample):
            self.axes[sample.axis] = sample
            trace = self._traces.setdefault(sample.axis, CurrentTrace())
            trace.take(sample.tick, sample.current_a)
        elif isinstance(sample, BoardSample):
            self.board = sample
        elif isinstance(sample, Event):
            known = not sample.axis or bool(self.scopes[sample.axis]["calibrated"])
            self.last_event = event_line(sample, self.units, known)

    def fitted(self) -> list[Rod]:
        """The axes that have a rod and were heard of."""
        return [
            Rod(printable(self.rods.get(axis) or ""), sample, self.scopes[axis], self.board,
                self._traces[axis])
            for axis, sample in sorted(self.axes.items())
            if self.scopes[axis]["feedback"]
        ]  # fmt: skip

    def lines(self, width: int = WIDTH, rows: int | None = None) -> list[str]:
        """The view as lines of at most `width` columns and, when given, at most `rows` lines. The
        last ones, notes and keys, are always there."""
        width = min(width, WIDEST)
        foot = self._foot(width)
        for level in LEVELS:
            body = self._body(width, level)
            if rows is None or len(body) + len(foot) <= rows:
                break
        if rows is not None and len(body) + len(foot) > rows:
            body = [*body[: max(0, rows - len(foot) - 1)], "  ! more: `rodbench info`"]
        return [line[:width] for line in [*body, *foot]][-rows if rows else 0 :]

    def warnings(self) -> list[str]:
        """What stands against trusting the rest: the link, then the board's faults."""
        silent = time.monotonic() - self._heard_s
        if self.lost:
            return [
                f"The board is not reached: {self.lost}. What stands here is {silent:.0f} s old. "
                "If a rod still moves, cut motor power. Trying again."
            ]
        if silent >= SILENT_S and self.axes:
            return [f"No telemetry for {silent:.0f} s: what stands here is old."]
        return []

    def _body(self, width: int, level: Level) -> list[str]:
        lines = [self._head(width), *wrapped(self.warnings(), width)]
        lines += wrapped(board_faults(self.board, not level.to_do), width)
        drawing = Drawing(width, self.blocks, level.scales)
        for rod in self.fitted():
            lines += [""] if level.gaps else []
            drawn = axis_lines if level.bars else brief_lines
            lines += drawn(rod, self.units, drawing)
            faults = axis_faults(rod.sample, rod.live, self.board, not level.to_do)
            lines += wrapped(faults, width)
            lines += wrapped(axis_remarks(rod.sample, self.board), width, "  - ")
        if not self.fitted():
            lines += ["", NO_AXIS if self.axes else "No telemetry yet."]
        lines += [""] if level.gaps else []
        if self.last_event and level.event:
            lines += wrapped([self.last_event], width, "last: ")
        return lines

    def _head(self, width: int) -> str:
        """What it is, and who commands at the right end."""
        commands = printable(self.commands)
        title = printable(self.title)[: max(0, width - len(commands) - 2)]
        return f"{title}{commands:>{width - len(title)}}" if commands else title

    def _foot(self, width: int) -> list[str]:
        return [
            *wrapped(["   ".join(self._facts())], width, ""),
            *wrapped([printable(note) for note in self.notes], width, "> "),
            *wrapped(self.keys, width, ""),
        ]

    def _facts(self) -> list[str]:
        parts = []
        if self.board is not None:
            known = "" if self.scopes[0]["supply_calibrated"] else " as read"
            parts.append(f"supply {self.board.supply_v:.2f} V{known}")
            if self.scopes[0].get("stop_input") and self.board.inputs is not None:
                closed = self.board.inputs & Inputs.STOP
                parts.append(f"stop input {'closed' if closed else 'OPEN'}")
        if self.link is not None:
            parts.append(link_words(self.link, self.dropped))
        return parts


def link_words(link: LinkStatistics, dropped: int) -> str:
    """`link 4 ms, no frame lost`, or how many were bad, missed, dropped or asked for again."""
    counts = {
        "bad": link.frames_bad,
        "missed": link.unasked_missed,
        "repeated": link.retries,
        "dropped here": dropped,
    }
    found = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    return f"link {link.round_trip_ms_median:.0f} ms, {found or 'no frame lost'}"


def printable(text: str) -> str:
    """A stranger's text, such as a name in a machine file, without what steers a terminal."""
    return "".join(character if character.isprintable() else "?" for character in text)
