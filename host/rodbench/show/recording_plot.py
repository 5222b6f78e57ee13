"""A picture of a recording: position and reference, current with trip, output and duty of an axis,
events marked, gaps shaded; legible without colour. Read block by block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rodbench_protocol.names import EventKind

from rodbench.board import Event
from rodbench.errors import UsageError
from rodbench.record.recording import Gap, Recording
from rodbench.record.tables import column
from rodbench.settings.units import Units
from rodbench.show.canvas import blank
from rodbench.show.curve import Curve
from rodbench.show.plot import event_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = ("position_mm", "reference_mm", "current_a", "output", "duty_used", "raw")
_AXIS_IN = (9.0, 8.5)  # of one axis
_LABELLED = 14  # events with words; more than these would cover each other
_SHADED = 300  # gaps drawn; the longest
_HATCH = "////"
_WIDE = 0.015  # of the width: a gap that holds words
_WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85}


@dataclass(frozen=True, slots=True)
class Window:
    """The time that is drawn, and how it is told."""

    first_s: float
    last_s: float

    @property
    def unit(self) -> tuple[str, float]:
        """Name of the time's unit, and seconds in it."""
        span = self.last_s - self.first_s
        return ("s", 1.0) if span < 600 else ("min", 60.0) if span < 10_800 else ("h", 3600.0)


def plot_recording(
    recording: Recording, path: Path, axes: Sequence[int], start_s: float, end_s: float,
    units: Units,
) -> None:  # fmt: skip
    """Draw some axes of a recording, side by side. Raises OSError; UsageError where there is none
    of it."""
    picture(recording, axes, start_s, end_s, units).savefig(path)


def picture(
    recording: Recording, axes: Sequence[int], start_s: float, end_s: float, units: Units,
    most: int = 4000,
) -> Figure:  # fmt: skip
    """The figure, with about so many points of each curve. Raises UsageError."""
    window = Window(max(start_s, 0.0), min(end_s, recording.duration_s))
    curves = gather(recording, axes, start_s, end_s, most)
    if not any(len(curves[axis]["raw"].points()[0]) for axis in axes):
        raise UsageError("no sample of that axis in that time", kept="no picture")
    events = recording.timed_events(start_s, end_s)
    figure = blank((_AXIS_IN[0] * (1 + 0.6 * (len(axes) - 1)), _AXIS_IN[1]))
    grid = figure.subplots(
        4, len(axes), sharex=True, squeeze=False, height_ratios=(3, 2, 1.2, 1)
    )  # fmt: skip
    for place, axis in enumerate(axes):
        panels = grid[:, place]
        _position(panels[0], curves[axis], recording, axis, window, units)
        _current(panels[1], curves[axis], recording, axis, window)
        _output(panels[2], curves[axis], window)
        _duty(panels[3], curves[axis], window)
        _frame(panels, window)
        _gaps(panels, _seen(recording.gaps, window), window)
        _events(panels, [(t, e) for t, e in events if e.axis in (0, axis)], window)
        panels[0].set_title(axis_name(recording, axis), fontsize=10, loc="left")
    figure.suptitle(title(recording), fontsize=11)
    figure.align_ylabels()
    return figure


def gather(
    recording: Recording, axes: Sequence[int], start_s: float, end_s: float, most: int
) -> dict[int, dict[str, Curve]]:
    """The curves of some axes, in one pass."""
    share = _share(recording, start_s, end_s)
    rows = round(recording.frames * share / max(len(recording.axes), 1))
    breaks = [gap.start_s for gap in recording.gaps]
    made = {axis: {name: Curve(rows, breaks, most) for name in COLUMNS} for axis in axes}
    for found in recording.pieces("axis", start_s, end_s):
        inside = (found.t_s >= start_s) & (found.t_s <= end_s)
        columns = {name: column(found, name) for name in COLUMNS}
        for axis, curves in made.items():
            kept = inside & (found["axis"] == axis)
            for name, curve in curves.items():
                curve.add(found.t_s[kept], columns[name][kept])
    return made


def _share(recording: Recording, start_s: float, end_s: float) -> float:
    length = min(end_s, recording.duration_s) - max(start_s, 0.0)
    return min(1.0, max(0.0, length) / max(recording.duration_s, 1e-9))


# ---------------------------------------------------------------- panels


def _line(axes: Any, curve: Curve, window: Window, scale: float = 1.0, **look: Any) -> Any:
    x, y = curve.points()
    axes.plot(x / window.unit[1], y * scale, **look)
    return y


def _position(
    axes: Any, curves: dict[str, Curve], recording: Recording, axis: int, window: Window,
    units: Units,
) -> None:  # fmt: skip
    position = curves["position_mm"].points()[1]
    if np.isnan(position).all():
        _line(axes, curves["raw"], window, color="black", linewidth=1.0)
        axes.set_ylabel("pot, raw (uncalibrated)")
        return
    scale = units.value(1.0)
    for key, word in (("soft_stop_min_um", "lower"), ("soft_stop_max_um", "upper")):
        x, y = _steps(recording, axis, key, window)
        axes.plot(x, y * scale / 1000, color="0.4", linestyle=(0, (1, 1.5)), linewidth=1.2)
        at_right(axes, y[0] * scale / 1000, f"{word}\nsoft stop")
    _line(axes, curves["position_mm"], window, scale, color="0.6", linewidth=3.0, label="position")
    _line(axes, curves["reference_mm"], window, scale, color="black", linestyle="--",
          linewidth=1.0, label="reference")  # fmt: skip
    axes.set_ylabel(f"position, {units.name}")
    legend_above(axes)
    axes.margins(y=0.12)


def _current(
    axes: Any, curves: dict[str, Curve], recording: Recording, axis: int, window: Window
) -> None:
    y = _line(axes, curves["current_a"], window, color="black", linewidth=0.9)
    axes.set_ylabel("current, A")
    lowest = float(np.nanmin(y)) if len(y) else 0.0
    axes.set_ylim(bottom=min(0.0, lowest))
    if not recording.settings[0].scopes[axis].get("current_sensor"):
        return
    x, trip_ma = _steps(recording, axis, "trip_ma", window)
    axes.plot(x, trip_ma / 1000, color="black", linestyle="-.", linewidth=1.2)
    at_right(axes, trip_ma[0] / 1000, f"trip\n{trip_ma[0] / 1000:g} A")
    axes.set_ylim(top=max(1.2 * trip_ma.max() / 1000, 1.05 * (np.nanmax(y) if len(y) else 0.0)))


def _output(axes: Any, curves: dict[str, Curve], window: Window) -> None:
    _line(axes, curves["output"], window, 100.0, color="black", linewidth=0.9,
          drawstyle="steps-post")  # fmt: skip
    axes.set_ylim(-110, 110)
    axes.set_yticks([-100, 0, 100], ["-100\nretract", "0", "100\nextend"])
    axes.set_ylabel("output, %")


def _duty(axes: Any, curves: dict[str, Curve], window: Window) -> None:
    y = _line(axes, curves["duty_used"], window, 100.0, color="black", linewidth=1.2)
    top = 100.0 * float(np.nanmax(y)) if len(y) else 0.0
    axes.set_ylim(0.0, max(10.0, 1.15 * top))
    axes.set_ylabel("duty used, %")


def _frame(panels: Any, window: Window) -> None:
    name, second = window.unit
    for axes in panels:
        axes.grid(True, color="0.88", linewidth=0.6)
        axes.set_xlim(window.first_s / second, max(window.last_s, window.first_s + 0.1) / second)
    panels[-1].set_xlabel(f"board time, {name}")


def _steps(recording: Recording, axis: int, key: str, window: Window) -> tuple[Any, Any]:
    """A setting over the time that is drawn: it may have been changed."""
    changes = recording.settings
    now = [c for c in changes if c.t_s <= window.first_s][-1:] or changes[:1]
    later = [c for c in changes if window.first_s < c.t_s <= window.last_s]
    x, y = [window.first_s], [now[0].scopes[axis][key]]
    for change in later:
        x += [change.t_s, change.t_s]
        y += [y[-1], change.scopes[axis][key]]
    return np.array([*x, window.last_s]) / window.unit[1], np.array([*y, y[-1]], np.float64)


def at_right(axes: Any, y: float, words: str) -> None:
    """Words beside the panel, at a height in it: nothing is drawn over them."""
    axes.annotate(words, (1.006, y), xycoords=("axes fraction", "data"), ha="left", va="center",
                  fontsize=8, annotation_clip=False)  # fmt: skip


def legend_above(axes: Any) -> None:
    """Outside of the panel, so that it covers no curve."""
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), fontsize=8, frameon=False, ncols=3,
                borderaxespad=0.1)  # fmt: skip


# ---------------------------------------------------------------- marks


def _seen(gaps: Sequence[Gap], window: Window) -> list[Gap]:
    inside = [g for g in gaps if g.end_s >= window.first_s and g.start_s <= window.last_s]
    return sorted(inside, key=lambda gap: gap.start_s - gap.end_s)[:_SHADED]


def _gaps(panels: Any, gaps: Sequence[Gap], window: Window) -> None:
    """Shaded; one too narrow to be seen has a mark above as well."""
    second = window.unit[1]
    for axes in panels:
        for gap in gaps:
            axes.axvspan(gap.start_s / second, gap.end_s / second, facecolor="0.9", hatch=_HATCH,
                         edgecolor="0.6", linewidth=0.0)  # fmt: skip
    wide_s = _WIDE * (window.last_s - window.first_s)
    narrow = [gap for gap in gaps if gap.end_s - gap.start_s < wide_s]
    marks = panels[0].plot([gap.start_s / second for gap in narrow], [1.0] * len(narrow), "v",
                           transform=panels[0].get_xaxis_transform(), color="black",
                           markersize=5, clip_on=False)  # fmt: skip
    marks[0].set_in_layout(False)
    for gap in [gap for gap in gaps if gap not in narrow][:_LABELLED]:
        middle = (max(gap.start_s, window.first_s) + min(gap.end_s, window.last_s)) / 2 / second
        _upright(panels[0], f"gap: {gap.why}", (middle, 0.5), "center")


def _upright(axes: Any, words: str, place: tuple[float, float], where: str) -> None:
    """Words across the time's axis, within the panel, whose size does not follow them."""
    ways = {"center": ("center", "center"), "foot": ("right", "bottom")}
    ha, va = ways[where]
    axes.annotate(words, place, xycoords=("data", "axes fraction"), rotation=90, ha=ha, va=va,
                  fontsize=8, bbox=_WHITE).set_in_layout(False)  # fmt: skip


def _events(panels: Any, events: Sequence[tuple[float, Event]], window: Window) -> None:
    """Lines with words where there are few; else a mark for each, and the trips in words."""
    second = window.unit[1]
    told = list(events)
    if len(told) > _LABELLED:
        told = [(t, e) for t, e in events if e.kind == EventKind.TRIP]
        trips, told = len(told), told[:_LABELLED]
        panels[0].plot([t / second for t, _ in events], np.full(len(events), 0.015), "|",
                       transform=panels[0].get_xaxis_transform(), color="black", markersize=7,
                       markeredgewidth=0.6)  # fmt: skip
        panels[0].annotate(f"events: {len(events)} (marks below), trips: {trips}", (0.01, 0.97),
                           xycoords="axes fraction", va="top", fontsize=8)  # fmt: skip
    for t_s, event in told:
        for axes in panels:
            axes.axvline(t_s / second, color="0.3", linewidth=0.8)
        _upright(panels[0], event_text(event), (t_s / second, 0.03), "foot")


def axis_name(recording: Recording, axis: int) -> str:
    """`axis 1 "north"`."""
    rod = recording.header["rods"].get(str(axis))
    return f'axis {axis} "{rod}"' if rod else f"axis {axis}"


def title(recording: Recording) -> str:
    """Machine, date, settings, and what is missing."""
    started = str(recording.header["started"])[:19].replace("T", " ")
    changed = len(recording.settings) - 1
    digest = recording.header["digest"] + (f" (changed {changed} times)" if changed else "")
    ended = "" if recording.ended else ", did not end as it should"
    gaps = f", gaps (▼): {len(recording.gaps)}" if recording.gaps else ""
    machine = recording.header["machine"]
    return f'"{machine}", recorded {started} UTC, settings {digest}{gaps}{ended}'


def fitted(recording: Recording) -> list[int]:
    """Axes that have a rod, by the machine file; all where it names none."""
    named = [axis for axis in recording.axes if recording.header["rods"].get(str(axis))]
    return named or recording.axes
