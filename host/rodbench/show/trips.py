"""Trips, black box and totals as a person reads them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.board import BlackBox, Totals, Trip
from rodbench.settings.units import Units
from rodbench.show.canvas import blank
from rodbench.show.words import fault_name, fault_what

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE_IN = (9.0, 7.0)
GONE = (
    "The black box is empty: it is gone with the power, and with the next motion after a clear. "
    "The trip log stays."
)


def trip_sentence(trip: Trip, units: Units, pot: bool = True) -> str:
    """What, where, current, supply, and how long after the start; `pot`: whether it has one."""
    who = f"axis {trip.axis}" if trip.axis else "board"
    what = fault_what(fault_name(trip.fault), pot)
    facts = [*_of_axis(trip, units, pot), f"supply {trip.supply_v:.1f} V"]
    return f"trip {trip.number}, {who}: {what}. {', '.join(facts)}; {_when(trip)}."


def _of_axis(trip: Trip, units: Units, pot: bool) -> list[str]:
    if not trip.axis:
        return []
    if not pot:
        where = "Place not known"
    elif trip.position_mm is None:
        where = f"At raw {trip.raw}"
    else:
        where = f"At {units.length(trip.position_mm)}"
    return [where, f"{trip.current_a:.2f} A", f"output {100 * trip.output:+.0f} %"]


def _when(trip: Trip) -> str:
    most = " or more" if trip.or_more else ""
    return f"{spell(trip.uptime_s)}{most} after the board started"


def spell(seconds: float) -> str:
    """`less than a minute`, `7 min`, `3 h 20 min`, `4 d 3 h`."""
    minutes = int(seconds // 60)
    if not minutes:
        return "less than a minute"
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def totals_sentence(totals: Totals, units: Units, pot: bool = True) -> str:
    """On-time, starts and travel in all."""
    on = f"{totals.on_s} s" if totals.on_s < 60 else spell(totals.on_s)
    way = f", {units.length(totals.travel_mm)} of travel" if pot else ""
    return f"axis {totals.axis} in all: motor on for {on}, {totals.starts} starts{way}"


def plot_box(
    box: BlackBox, path: Path, *, live: Mapping[str, int], title: str, units: Units
) -> None:
    """Draw the black box; `live` are the axis's settings (wire units). Raises OSError."""
    figure = blank(_SIZE_IN)
    top, middle, bottom = figure.subplots(3, 1, sharex=True, height_ratios=(3, 2, 1))
    times = [sample.time_s for sample in box.samples]
    _place(top, box, times, units)
    _current(middle, box, times, live)
    bottom.step(times, [100 * s.output for s in box.samples], color="black", where="mid")
    bottom.set_ylim(-110, 110)
    bottom.set_ylabel("output, %")
    bottom.set_xlabel("time before the trip, s")
    for axes in (top, middle, bottom):
        axes.grid(True, color="0.85", linewidth=0.6)
        axes.axvline(0.0, color="black", linewidth=1.2)
    top.set_title(title)
    figure.align_ylabels()
    figure.savefig(path)


def _place(axes: Axes, box: BlackBox, times: list[float], units: Units) -> None:
    known = [s.position_mm for s in box.samples if s.position_mm is not None]
    if len(known) == len(times):
        axes.plot(times, [units.value(mm) for mm in known], color="black", marker=".")
        axes.set_ylabel(f"position, {units.name}")
        return
    axes.plot(times, [sample.raw for sample in box.samples], color="black", marker=".")
    axes.set_ylabel("pot, raw")


def _current(axes: Axes, box: BlackBox, times: list[float], live: Mapping[str, int]) -> None:
    axes.plot(times, [s.current_a for s in box.samples], color="black", marker=".")
    axes.set_ylabel("current, A")
    axes.set_ylim(bottom=0.0)
    if live["current_sensor"]:
        trip = live["trip_ma"] / 1000
        axes.axhline(trip, color="black", linestyle="-.", linewidth=1.2)
        axes.set_ylim(top=1.2 * max(trip, *(sample.current_a for sample in box.samples)))
        axes.annotate(f"trip {trip:g} A", (0.005, trip), xycoords=("axes fraction", "data"),
                      ha="left", va="bottom", fontsize=8)  # fmt: skip
