"""One PNG of a run: position and reference, current with trip, output; legible without colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rodbench.settings.units import Units
from rodbench.show.canvas import blank
from rodbench.show.where import has_pot, place_words
from rodbench.show.words import ended_word, event_word, fault_name

if TYPE_CHECKING:
    from rodbench.board import AxisSample, Event
    from rodbench.show.run import Recorder

_SIZE_IN = (9.0, 7.0)


def plot_run(
    run: Recorder, path: Path, *, live: Mapping[str, int], title: str, units: Units
) -> None:
    """Draw a recorded run; `live` are the axis's settings (wire units). Raises OSError."""
    figure = blank(_SIZE_IN)
    top, middle, bottom = figure.subplots(3, 1, sharex=True, height_ratios=(3, 2, 1))
    start = run.samples[0].tick if run.samples else 0
    times = [(s.tick - start) * 0.005 for s in run.samples]
    if has_pot(live):
        _position(top, run.samples, times, live, units)
    else:
        _place(top, run.samples, times)
    _current(middle, run.samples, times, live)
    _output(bottom, run.samples, times)
    for axes in (top, middle, bottom):
        axes.grid(True, color="0.85", linewidth=0.6)
        axes.margins(x=0.01)
    _events(top, run.events, start)
    figure.align_ylabels()
    top.set_title(title)
    bottom.set_xlabel("time, s")
    figure.savefig(path)


def _position(
    axes: Any,
    samples: Sequence[AxisSample],
    times: list[float],
    live: Mapping[str, int],
    units: Units,
) -> None:
    for key, word in (("soft_stop_min_um", "lower"), ("soft_stop_max_um", "upper")):
        at = units.value(live[key] / 1000)
        axes.axhline(at, color="0.4", linestyle=(0, (1, 1.5)), linewidth=1.2)
        axes.annotate(f"{word} soft stop", (0.005, at), xycoords=("axes fraction", "data"),
                      ha="left", va="bottom", fontsize=8)  # fmt: skip
    reference = [units.value(s.reference_mm or 0.0) for s in samples]
    position = [units.value(s.position_mm or 0.0) for s in samples]
    axes.plot(times, position, color="0.6", linewidth=3.0, label="position")
    axes.plot(times, reference, color="black", linestyle="--", linewidth=1.0, label="reference")
    axes.set_ylabel(f"position, {units.name}")
    axes.legend(loc="center right", fontsize=8, frameon=False)


def _place(axes: Any, samples: Sequence[AxisSample], times: list[float]) -> None:
    """Without a pot: what is known of the place, as steps."""
    levels = {"retracted": 0, "between": 1, "extended": 2, None: -1}
    axes.step(times, [levels[s.place] for s in samples], color="black", where="post")
    axes.set_yticks(list(levels.values()), [place_words(place) for place in levels])
    axes.set_ylim(-1.5, 2.5)


def _current(
    axes: Any, samples: Sequence[AxisSample], times: list[float], live: Mapping[str, int]
) -> None:
    axes.plot(times, [s.current_a for s in samples], color="black", linewidth=1.0)
    axes.set_ylabel("current, A")
    axes.set_ylim(bottom=min(0.0, *(s.current_a for s in samples)) if samples else 0.0)
    if live["current_sensor"]:
        trip = live["trip_ma"] / 1000
        axes.axhline(trip, color="black", linestyle="-.", linewidth=1.2)
        axes.annotate(f"trip {trip:g} A", (0.005, trip), xycoords=("axes fraction", "data"),
                      ha="left", va="bottom", fontsize=8)  # fmt: skip
        axes.set_ylim(top=trip * 1.2)


def _output(axes: Any, samples: Sequence[AxisSample], times: list[float]) -> None:
    axes.step(times, [100 * s.output for s in samples], color="black", linewidth=1.0, where="post")
    axes.set_ylim(-110, 110)
    axes.set_ylabel("output, %")


def _events(axes: Any, events: Sequence[Event], start: int) -> None:
    for event in events:
        time = (event.tick - start) * 0.005
        axes.axvline(time, color="0.3", linewidth=0.8)
        axes.annotate(event_text(event), (time, 0.02), xycoords=("data", "axes fraction"),
                      rotation=90, ha="right", va="bottom", fontsize=8)  # fmt: skip


def event_text(event: Event) -> str:
    """An event in a word or two."""
    kind = event_word(event.kind)
    if kind == "motion_ended":
        return ended_word(event.cause).replace("_", " ")
    if kind == "trip":
        return f"trip: {fault_name(event.cause).replace('_', ' ')}"
    return kind.replace("_", " ")
