"""The live view as lines that are only added: for a terminal that cannot be drawn over, or one
that is read aloud. What changes is told at once; where a rod is, each second while it moves."""

from __future__ import annotations

import re
from collections.abc import Iterator

from rodbench.board import RUNNING
from rodbench.settings.units import Units
from rodbench.show.live import View
from rodbench.show.live_axis import Rod, rod_title, way_words
from rodbench.show.live_remarks import axis_faults, axis_remarks, board_faults
from rodbench.show.where import where
from rodbench.show.words import state

MOVING_S, REST_S = 1.0, 10.0  # between two lines of an axis


class Telling:
    """What has been told already."""

    def __init__(self) -> None:
        self._told: set[str] = set()
        self._states: dict[int, tuple[int, float]] = {}  # axis: state, when it was told

    def new(self, view: View, now_s: float) -> list[str]:
        """The lines to add."""
        words = {_apart_from_time(text): text for text in _words(view)}
        fresh = [text for key, text in words.items() if key not in self._told]
        self._told = set(words)
        return [*self._axes(view, now_s), *fresh]

    def _axes(self, view: View, now_s: float) -> Iterator[str]:
        for rod in view.fitted():
            number, now_in = rod.sample.axis, rod.sample.state
            was_in, told_s = self._states.get(number, (-1, 0.0))
            every = MOVING_S if now_in in RUNNING else REST_S
            if now_in != was_in or now_s - told_s >= every:
                self._states[number] = now_in, now_s
                yield _axis(rod, view.units)


def _apart_from_time(text: str) -> str:
    """An event is another one at another time; all else is the same when only seconds differ."""
    return text if text.startswith("event: ") else re.sub(r"\d+ (s|min)\b", "", text)


def _words(view: View) -> Iterator[str]:
    yield from view.warnings()
    yield from board_faults(view.board)
    for rod in view.fitted():
        title = rod_title(rod.sample.axis, rod.name)
        for text in axis_faults(rod.sample, rod.live, view.board):
            yield f"{title}: {text}"
        for text in axis_remarks(rod.sample, view.board):
            yield f"{title}: {text}"
    if view.last_event:
        yield f"event: {view.last_event}"
    yield from (text for text in (view.commands, *view.notes, *view.keys) if text)


def _axis(rod: Rod, units: Units) -> str:
    sample = rod.sample
    parts = [state(sample.state)]
    if sample.state in RUNNING:
        parts.append(way_words(sample, units))
    parts.append(where(sample, rod.live, units))
    if rod.live["current_sensor"]:
        parts.append(f"{sample.current_a:.2f} A of {rod.live['trip_ma'] / 1000:g}")
    parts.append(f"duty used {100 * sample.duty_used:.0f} %")
    return f"{rod_title(sample.axis, rod.name)}: {', '.join(parts)}"
