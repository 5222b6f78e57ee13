"""Current against position: where a rod binds there stands a bump. Each way by itself; the newest
stroke over what all the others were. Read block by block."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rodbench.errors import UsageError
from rodbench.record.recording import Recording
from rodbench.record.tables import column
from rodbench.settings.units import Units
from rodbench.show.canvas import blank
from rodbench.show.recording_plot import at_right, axis_name, legend_above, title

Floats = npt.NDArray[np.float64]
WAYS = {1: "extending", -1: "retracting"}
_BINS = 240  # places along the stroke
_STROKE_MM = 1.0  # less is no stroke
_STILL_S = 0.1  # without output, or without a sample: the stroke is over
_NEWEST = 60_000  # rows of the newest stroke that are kept
_SIZE_IN = (9.0, 6.5)


class Way:
    """One way of one rod: what all strokes drew at each place, and the newest stroke."""

    def __init__(self, low_mm: float, high_mm: float) -> None:
        self.edges = np.linspace(low_mm, high_mm, _BINS + 1)
        self.least = np.full(_BINS, np.inf)
        self.most = np.full(_BINS, -np.inf)
        self.newest: tuple[Floats, Floats] = (np.zeros(0), np.zeros(0))
        self._under: list[tuple[Floats, Floats]] = []
        self._last_s = -np.inf
        self.strokes = 0

    def add(self, t_s: Floats, position: Floats, current: Floats) -> None:
        """Samples of this way, in order; strokes are told apart by the time between them."""
        cuts = np.nonzero(np.diff(t_s, prepend=self._last_s) > _STILL_S)[0]
        self._last_s = float(t_s[-1])
        for part in np.split(np.arange(len(t_s)), cuts):
            if len(part) and part[0] in cuts:
                self.end()
            if len(part):
                self._under.append((position[part], current[part]))

    def end(self) -> None:
        """The stroke under way is over; a short one is left out."""
        under, self._under = self._under, []
        if not under:
            return
        position, current = (np.concatenate(parts) for parts in zip(*under, strict=True))
        if np.ptp(position) < _STROKE_MM:
            return
        self.strokes += 1
        place = np.clip(np.digitize(position, self.edges) - 1, 0, _BINS - 1)
        np.minimum.at(self.least, place, current)
        np.maximum.at(self.most, place, current)
        self.newest = position[-_NEWEST:], current[-_NEWEST:]


def plot_positions(
    recording: Recording, path: Path, axes: Sequence[int], start_s: float, end_s: float,
    units: Units,
) -> None:  # fmt: skip
    """Draw it for some axes, side by side. Raises OSError; UsageError where none has moved."""
    found = gather(recording, axes, start_s, end_s)
    figure = blank((_SIZE_IN[0] * (1 + 0.6 * (len(axes) - 1)), _SIZE_IN[1]))
    grid = figure.subplots(2, len(axes), sharex="col", squeeze=False)
    for place, axis in enumerate(axes):
        for row, way in enumerate(WAYS):
            _panel(grid[row, place], found[axis][way], recording, axis, WAYS[way], units)
        grid[0, place].set_title(axis_name(recording, axis), fontsize=10, loc="left")
        grid[1, place].set_xlabel(f"position, {units.name} from the retracted end")
    figure.suptitle(title(recording), fontsize=11)
    figure.align_ylabels()
    figure.savefig(path)


def gather(
    recording: Recording, axes: Sequence[int], start_s: float, end_s: float
) -> dict[int, dict[int, Way]]:
    """The ways of some axes, in one pass."""
    made = {axis: {way: Way(*_reach(recording, axis)) for way in WAYS} for axis in axes}
    for found in recording.pieces("axis", start_s, end_s):
        position, current = column(found, "position_mm"), column(found, "current_a")
        inside = (found.t_s >= start_s) & (found.t_s <= end_s) & ~np.isnan(position)
        for axis, ways in made.items():
            for way, strokes in ways.items():
                moving = np.sign(found["output_permille"]) == way
                kept = inside & (found["axis"] == axis) & moving
                if kept.any():
                    strokes.add(found.t_s[kept], position[kept], current[kept])
    for ways in made.values():
        for strokes in ways.values():
            strokes.end()
    if not any(strokes.strokes for ways in made.values() for strokes in ways.values()):
        raise UsageError(
            "no stroke whose position is known: nothing to draw against it",
            kept="no picture",
            hint="`rodbench plot` draws it over time",
        )
    return made


def _reach(recording: Recording, axis: int) -> tuple[float, float]:
    stroke_mm = recording.settings[-1].scopes[axis]["stroke_um"] / 1000 or 1.0
    return -0.03 * stroke_mm, 1.03 * stroke_mm


def _panel(
    axes: Any, way: Way, recording: Recording, axis: int, word: str, units: Units
) -> None:  # fmt: skip
    live = recording.settings[-1].scopes[axis]
    middles = units.value(1.0) * (way.edges[1:] + way.edges[:-1]) / 2
    seen = np.isfinite(way.least)
    low, high = np.where(seen, way.least, np.nan), np.where(seen, way.most, np.nan)
    if way.strokes > 1:
        axes.fill_between(middles, low, high, facecolor="0.85", edgecolor="0.55", linewidth=0.6,
                          step="mid", label=f"all {way.strokes} strokes")  # fmt: skip
    position, current = way.newest
    axes.plot(position * units.value(1.0), current, color="black", linewidth=0.9, label="newest")
    if live.get("current_sensor"):
        trip = live["trip_ma"] / 1000
        axes.axhline(trip, color="black", linestyle="-.", linewidth=1.2)
        at_right(axes, trip, f"trip\n{trip:g} A")
    for key, stop in (("soft_stop_min_um", "lower"), ("soft_stop_max_um", "upper")):
        at = units.value(live[key] / 1000)
        axes.axvline(at, color="0.4", linestyle=(0, (1, 1.5)), linewidth=1.2)
        axes.annotate(f"{stop} soft stop", (at, 0.03), xycoords=("data", "axes fraction"),
                      rotation=90, ha="right", va="bottom", fontsize=8)  # fmt: skip
    _scales(axes, way, word, units)


def _scales(axes: Any, way: Way, word: str, units: Units) -> None:
    axes.set_xlim(units.value(way.edges[0]), units.value(way.edges[-1]))
    axes.set_ylim(bottom=min(0.0, float(np.nanmin([0.0, *way.newest[1]]))))
    axes.margins(y=0.15)
    axes.set_ylabel(f"current, A, {word}")
    axes.grid(True, color="0.88", linewidth=0.6)
    if way.strokes:
        legend_above(axes)
    else:
        axes.annotate(f"no stroke {word}", (0.5, 0.5), xycoords="axes fraction", ha="center")
