"""One PNG of a job and its candidates: force and speed through the travel; legible in grey."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rodbench.show.canvas import blank
from rodbench.show.sizing import Answer
from rodbench.show.sizing_words import N_PER_LBF

_SIZE_IN = (9.0, 8.0)
_MOST = 6  # candidates in one picture
_ABOVE = 4.0  # times the most needed: what is rated higher stands in the legend only
_LINES = ("-", "--", "-.", ":", (0, (6, 1, 1, 1, 1, 1)), (0, (1, 3)))
_MARKS = "osv^Dx"


def plot(answer: Answer, path: Path) -> None:
    """Draw the need and the best candidates. Raises OSError."""
    figure = blank(_SIZE_IN)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    _forces(top, answer)
    _speeds(bottom, answer)
    for axes in (top, bottom):
        axes.grid(True, color="0.85", linewidth=0.6)
        axes.margins(x=0.01)
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), fontsize=8, frameon=False)
    figure.align_ylabels()
    top.set_title(answer.job.name)
    _degrees(top, answer)
    bottom.set_xlabel(f"rod out from its shortest place, {answer.asked.units.name}")
    figure.savefig(path)


def _places(answer: Answer) -> Any:
    return answer.asked.travel.place_mm / answer.asked.units.to_mm(1.0)


def _forces(axes: Any, answer: Answer) -> None:
    """Need through the travel, and what each of the best is rated for, by its name on the line."""
    travel, inch = answer.asked.travel, answer.asked.units.name == "in"
    scale = N_PER_LBF if inch else 1.0
    place = _places(answer)
    ways = (
        (travel.extend_n, "needed to extend", "-", 2.2),
        (travel.retract_n, "needed to retract", "--", 2.2),
        (travel.rest_n, "at rest", ":", 2.2),
    )
    for force, label, line, width in ways:
        axes.plot(place, force / scale, color="black", linestyle=line, linewidth=width, label=label)
    axes.axhline(0.0, color="0.3", linewidth=0.8)
    for mark, at in zip(_MARKS, answer.order[:_MOST], strict=False):
        sheet = answer.sheets[at]
        rated = [sheet.force_n / scale] * 2
        axes.plot([place[0], place[-1]], rated, color="0.45", linewidth=1.0, marker=mark,
                  label=f"{sheet.name}: rated {answer.asked.force(sheet.force_n)}")  # fmt: skip
    needed = max(float(force.max()) for force, *_ in ways) / scale
    axes.set_ylim(top=min(axes.get_ylim()[1], max(_ABOVE * needed, needed + 1.0)))
    axes.set_ylabel(f"force on one rod, {'lbf' if inch else 'N'}\n(below 0: the load drives it)")


def _speeds(axes: Any, answer: Answer) -> None:
    """Extending, under the load of each place."""
    place, unit = _places(answer), answer.asked.units.to_mm(1.0)
    for number, at in enumerate(answer.order[:_MOST]):
        speed = answer.sized.speed_extend_mm_s[at] / unit
        axes.plot(place, speed, color="black", linestyle=_LINES[number], linewidth=1.3,
                  marker=_MARKS[number], markevery=len(place) // 8,
                  markersize=4, label=f"{answer.sheets[at].name}")  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel(f"speed extending, {answer.asked.units.speed_name}")


def _degrees(axes: Any, answer: Answer) -> None:
    """How far a flap has turned, along the top."""
    import numpy as np

    travel = answer.asked.travel
    if travel.turned_deg is None:
        return
    order = np.argsort(np.abs(travel.turned_deg))
    degrees, place = np.abs(travel.turned_deg)[order], _places(answer)[order]
    upper = axes.secondary_xaxis("top")
    step = next(s for s in (1, 2, 5, 10, 15, 30, 45) if degrees[-1] / s <= 9 or s == 45)
    marks = np.arange(0, degrees[-1] + 1e-9, step)
    upper.set_xticks(np.interp(marks, degrees, place), [f"{mark:.0f}" for mark in marks])
    upper.set_xlabel("turned from closed, deg")
