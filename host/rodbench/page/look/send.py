"""The one message that goes to a page about ten times a second."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from rodbench.page.look.ruler import stroke_mm
from rodbench.page.look.sentence import fitted_axes, last_trip
from rodbench.page.look.trace import BIN_S, Rows, newest_s, trace_rows
from rodbench.show.where import has_pot, where
from rodbench.show.words import state

if TYPE_CHECKING:
    from rodbench.board import AxisSample
    from rodbench.page.feed import Feed, Stroke

EARLIER = 4  # strokes drawn thin
PARTS = 240  # of the way in which a stroke's current is told
LINES_KEPT = 100


class Sender:
    """Knows what its page was sent, so that a message holds only what is new."""

    def __init__(self) -> None:
        self._until_s: dict[int, float] = {}
        self._strokes: dict[int, Any] = {}
        self._lines: dict[Any, Rows] = {}

    def message(self, feed: Feed) -> dict[str, Any]:
        """Everything that moves, by axis."""
        tick = max((sample.tick for sample in feed.last_axis.values()), default=0)
        axes = {axis: self._axis(feed, axis) for axis in fitted_axes(feed)}
        return {"tick": tick, "axes": axes}

    def forget(self) -> None:
        """Send all of it again."""
        self._until_s.clear()
        self._strokes.clear()

    def _axis(self, feed: Feed, axis: int) -> dict[str, Any]:
        sample = feed.last_axis[axis]
        found: dict[str, Any] = {"rod": rod(feed, sample), "text": texts(feed, sample)}
        lines = self._stroke_lines(feed, axis)
        if lines != self._strokes.get(axis):
            self._strokes[axis] = found["strokes"] = lines
        if axis in feed.traces:
            found["trace"], found["anew"] = self._trace(feed, axis)
        return found

    def _stroke_lines(self, feed: Feed, axis: int) -> dict[str, Rows | list[Rows]]:
        """Points of this stroke, of earlier ones the same way, and of the baseline; before the
        first stroke of the baseline both ways."""
        strokes, baseline = list(feed.strokes.get(axis, [])), feed.baseline.get(axis, [])
        if strokes:
            way = strokes[-1].way
            baseline = [stroke for stroke in baseline if stroke.way == way]
            strokes = [stroke for stroke in strokes if stroke.way == way]
        lines = [self._line(feed, axis, stroke) for stroke in strokes[-1 - EARLIER :]]
        return {
            "now": lines[-1] if lines else [],
            "earlier": lines[:-1],
            "baseline": [self._line(feed, axis, stroke) for stroke in baseline],
        }

    def _line(self, feed: Feed, axis: int, stroke: Stroke) -> Rows:
        """A stroke's points; one that is over is reckoned once."""
        key = (id(stroke), len(stroke.position_mm), feed.units.name)
        if key not in self._lines:
            if len(self._lines) > LINES_KEPT:
                self._lines.clear()
            bin_mm = stroke_mm(feed, axis) / PARTS
            self._lines[key] = _points(stroke, feed.units.value(1.0), bin_mm)
        return self._lines[key]

    def _trace(self, feed: Feed, axis: int) -> tuple[Rows, bool]:
        """The rows that are new, and whether they stand in place of those before."""
        trace, since = feed.traces[axis], self._until_s.get(axis, -math.inf)
        anew = since == -math.inf or newest_s(trace) < since - BIN_S
        since = -math.inf if anew else since
        rows, self._until_s[axis] = trace_rows(trace, since, feed.units.value(1.0))
        return rows, anew


def rod(feed: Feed, sample: AxisSample) -> dict[str, Any]:
    """Where things are on the ruler, in mm, and on its chart, in the feed's units."""
    axis, live = sample.axis, feed.scopes[sample.axis]
    known = has_pot(live) and bool(live["calibrated"])
    trip = last_trip(feed, axis) if known else None
    trip_a = live["trip_ma"] / 1000 if live["current_sensor"] else None
    return {
        "pos": sample.position_mm if known else None,
        "place": where(sample, live, feed.units),
        "near": sample.place,
        "low": live["soft_stop_min_um"] / 1000 if known else None,
        "high": live["soft_stop_max_um"] / 1000 if known else None,
        "target": feed.targets.get(axis) if known else None,
        "trip": None if trip is None else trip.position_mm,
        "tripShown": None if trip is None else feed.units.value(trip.position_mm),
        "tripAt": trip_a,
        "currentMost": math.ceil(2.4 * trip_a) / 2 if trip_a else None,
        "tripText": f"trip {trip_a:g} A" if trip_a else "",
        "most": feed.units.value(max(stroke_mm(feed, n) for n in fitted_axes(feed))),
    }


def texts(feed: Feed, sample: AxisSample) -> dict[str, str]:
    """The figures beside the rod."""
    live, units = feed.scopes[sample.axis], feed.units
    no_sensor = not live["current_sensor"]
    speed = "not known" if sample.speed_mm_s is None else units.speed(sample.speed_mm_s)
    if sample.speed_raw_s is not None and has_pot(live):
        speed = f"{sample.speed_raw_s:.0f} raw/s"
    return {
        "state": state(sample.state),
        "position": where(sample, live, units),
        "speed": speed,
        "current": "no sensor" if no_sensor else f"{sample.current_a:.2f} A",
        "output": percent(sample.output),
    }


def percent(output: float) -> str:
    """`+80 %`, `0 %`."""
    whole = round(100 * output)
    return f"{whole:+d} %" if whole else "0 %"


def _points(stroke: Stroke, per: float, bin_mm: float) -> Rows:
    """Position and greatest current of each part of the way."""
    count = min(len(stroke.position_mm), len(stroke.current_a))  # another thread appends
    if not count:
        return []
    position = np.array(stroke.position_mm[:count])
    bins = np.floor(position / bin_mm).astype(int)
    starts = np.r_[0, np.flatnonzero(np.diff(bins)) + 1]
    current = np.maximum.reduceat(np.array(stroke.current_a[:count]), starts)
    rows = zip(position[starts] * per, current, strict=True)
    return [[round(float(place), 4), round(float(amps), 3)] for place, amps in rows]
