"""A job and its candidates for a terminal of 80 columns: need, margins, figures, reasons."""

from __future__ import annotations

import math

import numpy as np

from rodbench.science.loads import Array
from rodbench.show.sizing import Answer, motors
from rodbench.show.sizing_words import Verdict, seconds
from rodbench.show.tables import table

CAUTION = (
    "A data sheet is a promise, a load an estimate: try the rod on the machine, with a fuse, a "
    "switch for motor power and no one under the load."
)
_KINDS = {
    "push": "a straight push",
    "lift": "a straight lift",
    "slope": "a straight way on a slope",
    "hinge": "a hinged flap or arm",
}
_HEADS = {  # of the checks that are shown as have over need
    "force": "force",
    "static": "static",
    "time": "time",
    "duty": "duty",
    "buckling": "buckle",
    "current": "amps",
}
_LEGEND = (
    "fits: yes, but (see below), no. room: the least that stroke and pins leave. {speed}: the "
    "least on the way. Wh: from the supply, there and back. W: rated force x rated speed."
)


def text(answer: Answer) -> str:
    """Everything, for a terminal."""
    return "\n".join(
        [
            _head(answer),
            "",
            _need(answer),
            "",
            _margins(answer),
            "",
            _figures(answer),
            "",
            _LEGEND.format(speed=answer.asked.units.speed_name),
            "",
            *_reasons(answer),
            *_motors(answer),
            f"! {CAUTION}",
        ]
    )


def verdict_lines(answer: Answer) -> list[str]:
    """One line for each candidate, best first."""
    lines = []
    for at in answer.order:
        said = answer.verdicts[at]
        why = "; ".join(said.fails or said.cautions)
        lines.append(f"{answer.sheets[at].name}: {said.word}{': ' * bool(why)}{why}")
    return lines


def _head(answer: Answer) -> str:
    job, asked = answer.job, answer.asked
    rods = f", {job.carried.rods} rods, all figures for one" if job.carried.rods > 1 else ""
    lines = [f"{job.name}: {_KINDS[job.kind]}{rods}"]
    travel = asked.travel
    way = f"travel of the rod {asked.units.length(travel.way_mm)}"
    if travel.pins_mm is not None:
        way += f", {asked.units.span(travel.pins_mm[0], travel.pins_mm[-1])} from pin to pin"
    return "\n".join([*lines, way])


def _need(answer: Answer) -> str:
    """Worst forces, where they are, and what drives the rod."""
    asked, travel = answer.asked, answer.asked.travel
    ways = (travel.extend_n, travel.retract_n, travel.rest_n)
    places = [int(way.argmax()) for way in ways]

    def where(at: int, way: Array) -> str:
        return asked.units.length(float(travel.place_mm[at])) if way[at] > 0.0 else "-"

    rows = [
        ("most needed", *(asked.force(max(float(way.max()), 0.0)) for way in ways)),
        ("  there it is out by", *map(where, places, ways)),
        ("the load drives it", *(asked.force(float(way.max())) for way in travel.aiding_n), "-"),
        ("time allowed", seconds(asked.duty.extend_s), seconds(asked.duty.retract_s), "-"),
    ]
    if travel.turned_deg is not None:
        turned = [f"{abs(travel.turned_deg[at]):.0f} deg" if way[at] > 0.0 else "-"
                  for at, way in zip(places, ways, strict=True)]  # fmt: skip
        rows.insert(2, ("  and it has turned", *turned))
    return table(("the job", "extending", "retracting", "at rest"), rows, (1, 2, 3))


def _margins(answer: Answer) -> str:
    """What each has over what is needed; `!` where that falls short."""
    checks = [check for check in answer.sized.checks if check.name in _HEADS]
    rows = [("asked for", "", *(f"{check.wanted:g}" for check in checks), "0")]
    for at in answer.order:
        cells = [_ratio(float(check.margin[at]), bool(check.holds[at])) for check in checks]
        rows.append(
            (answer.sheets[at].name, _short(answer.verdicts[at]), *cells, _room(answer, at))
        )
    heads = [_HEADS[check.name] for check in checks]
    room = f"room {answer.asked.units.name}"
    return table(("margin", "fits", *heads, room), rows, range(2, len(heads) + 3))


def _short(said: Verdict) -> str:
    return "no" if said.fails else "but" if said.cautions else "yes"


def _ratio(margin: float, holds: bool) -> str:
    """Three digits, `!` where it falls short, `?` unknown, `-` where nothing is needed."""
    if math.isnan(margin):
        return "?"
    if math.isinf(margin):
        return "-"
    digits = 2 if margin < 10 else 1 if margin < 100 else 0
    return f"{margin:.{digits}f}{'' if holds else ' !'}"


def _room(answer: Answer, at: int) -> str:
    """Stroke and lengths at once: the least that is left over, `!` where that is below zero."""
    rooms = [c.margin[at] for c in answer.sized.checks if c.in_mm and not math.isnan(c.margin[at])]
    least = float(min(rooms))
    return f"{answer.asked.units.number(least)}{' !' if least < 0 else ''}"


def _figures(answer: Answer) -> str:
    sized, units = answer.sized, answer.asked.units
    slowest = np.minimum(sized.speed_extend_mm_s.min(axis=1), sized.speed_retract_mm_s.min(axis=1))
    rows = [
        (
            answer.sheets[at].name,
            seconds(sized.extend_s[at]),
            seconds(sized.retract_s[at]),
            units.number(float(slowest[at])),
            _or_unknown(sized.peak_a[at], ".2f"),
            _or_unknown(sized.stall_a[at], ".1f"),
            _or_unknown(sized.energy_wh[at], ".3f"),
            _or_unknown(100.0 * sized.duty[at], ".1f"),
            f"{sized.power_w[at]:.1f}",
        )
        for at in answer.order
    ]
    heads = (f"at {answer.job.duty.volts:g} V", "extend", "retract", units.speed_name, "peak A",
             "stall A", "Wh", "duty %", "W")  # fmt: skip
    return table(heads, rows, range(1, 9))


def _or_unknown(value: float, form: str) -> str:
    return format(float(value), form) if math.isfinite(value) else "?"


def _reasons(answer: Answer) -> list[str]:
    lines = []
    for at in answer.order:
        said = answer.verdicts[at]
        lines.append(f"{answer.sheets[at].name}: {said.word}")
        lines += [f"  no:   {text}" for text in said.fails]
        lines += [f"  but:  {text}" for text in said.cautions]
        lines += [f"  note: {text}" for text in said.notes]
    return [*lines, ""]


def _motors(answer: Answer) -> list[str]:
    """Why the stronger of one motor is the slower."""
    lines = []
    for word, rows in motors(answer).items():
        names = ", ".join(answer.sheets[at].name for at in rows)
        powers = answer.sized.power_w[rows]
        lines += [
            f'Motor "{word}" ({names}): rated force x rated speed is {powers.min():.1f} .. '
            f"{powers.max():.1f} W. A gear gives force and takes speed: the stronger is the slower."
        ]
    return [*lines, ""] if lines else []
