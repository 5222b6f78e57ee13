"""Why a candidate does or does not do the job, in sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rodbench.science.candidate import Assumed, Sheet
from rodbench.science.loads import Travel
from rodbench.science.sizing import Check, Demand, Sized
from rodbench.settings.units import Units, minutes, share

N_PER_LBF = 4.4482216152605  # exact
_MOST_POT_OHM = 40_000.0  # a quarter of it is the most that the converter bears before its input


@dataclass(frozen=True, slots=True)
class Asked:
    """A job with its loads reckoned."""

    travel: Travel
    duty: Demand
    assumed: Assumed
    units: Units

    def force(self, newton: float) -> str:
        """`438 N` or `98.5 lbf`."""
        if self.units.name == "in":
            return f"{newton / N_PER_LBF:.4g} lbf"
        return f"{newton:.0f} N"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is said of one candidate: why it fails, what to heed, what was assumed."""

    word: str
    fails: list[str]
    cautions: list[str]
    notes: list[str]


def verdict(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> Verdict:
    """The verdict on the candidate in row `at`."""
    fails = [
        _failure(asked, sized, check, sheet, at) for check in sized.checks if not check.holds[at]
    ]
    cautions = _cautions(asked, sized, sheet, at)
    word = "does not fit" if fails else "fits, but" if cautions else "fits"
    return Verdict(word, fails, cautions, _notes(asked, sized, sheet, at))


def seconds(value: float) -> str:
    """`8.3 s`, `4 min 10 s`, `never`."""
    if not math.isfinite(value):
        return "never"
    return f"{value:.1f} s" if value < 60 else minutes(value)


def _failure(asked: Asked, sized: Sized, check: Check, sheet: Sheet, at: int) -> str:
    have, need = float(check.have[at]), float(check.need[at])
    margin, length = float(check.margin[at]), asked.units.length
    of = f"{margin:.2f} where {check.wanted:g} is asked for"
    if check.name == "time":
        if not math.isfinite(need):
            return f"time: at {asked.duty.volts:g} V it stalls on the way"
        return f"time: {seconds(have)} allowed, {seconds(need)} needed: {of}"
    if check.name == "force":
        why = f"stalls at {asked.force(have)}" if have < sheet.force_n else "is rated for"
        why = why if have < sheet.force_n else f"{why} {asked.force(have)}"
        return f"force: it {why}, {asked.force(need)} is needed: {of}"
    if check.name == "run":
        return f"one way takes {seconds(need)}, and its duty allows {seconds(have)} in one go"
    if check.name == "duty":
        if need > 1.0:
            return f"duty: {asked.duty.cycles_per_hour:g} cycles do not fit into an hour"
        return f"duty: {share(have)} rated, {share(need)} needed: {of}"
    sentences = {
        "static": f"static: holds {asked.force(have)}, {asked.force(need)} bear on it: {of}",
        "stroke": f"stroke: {length(have)}, the way is {length(need)}",
        "short": f"too long: {length(have)} retracted, the pins come within {length(need)}",
        "long": f"too short: {length(have)} extended, the pins go {length(need)} apart",
        "buckling": f"buckling: bears {asked.force(have)} there, {asked.force(need)} press: {of}",
        "current": f"current: {need:.2f} A drawn, {have:g} A available: {of}",
        "held": "its maker does not call it self-locking, and the load drives it: it needs a brake",
    }
    return sentences[check.name]


def _cautions(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> list[str]:
    return [
        text
        for text in (
            _over_voltage(asked, sized, sheet, at),
            _tight(asked, sized, at),
            _driven(asked, sheet),
            _unknown_room(asked, sheet),
            "two wires: no position, so no soft stops and no places to go to"
            if sheet.pot is False
            else "",
            f"a pot of {sheet.pot_ohm / 1000:g} kohm: above 40 the board reads it late and low"
            if sheet.pot_ohm and sheet.pot_ohm > _MOST_POT_OHM
            else "",
            "shorter than its stroke when retracted: telescopic, or a figure is wrong"
            if sheet.retracted_mm is not None and sheet.retracted_mm <= sheet.stroke_mm
            else "",
        )
        if text
    ]


def _over_voltage(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> str:
    ratio = asked.duty.volts / sheet.volts
    if ratio <= asked.assumed.over_voltage:
        return ""
    return (
        f"{asked.duty.volts:g} V on a rod for {sheet.volts:g} V: without load "
        f"{_of_free(sized, at)} times as fast; hotter, its life shorter, its duty less. The "
        "ratings of the sheet do not hold there"
    )


def _of_free(sized: Sized, at: int) -> str:
    return f"{sized.free_mm_s[at] / sized.columns.speed_free_mm_s[at]:.2f}"


def _tight(asked: Asked, sized: Sized, at: int) -> str:
    """Room that is left at the ends, for the soft stops."""
    room = {c.name: float(c.margin[at]) for c in sized.checks if c.in_mm}
    if "short" in room and not math.isnan(room["short"]):
        least = min(room["short"], room["long"])
    else:
        least = room["stroke"] / 2.0
    if least < 0.0 or least >= asked.assumed.spare_mm:
        return ""
    length = asked.units.length
    return f"tight: {length(least)} left at an end, {length(asked.assumed.spare_mm)} wanted"


def _driven(asked: Asked, sheet: Sheet) -> str:
    """A load that drives the rod, and nothing that says that it holds."""
    if asked.duty.brake or asked.travel.rest_n.max() == 0.0 or sheet.self_locking is not None:
        return ""
    if sheet.screw is not None:
        friction = asked.assumed.thread_friction
        if sheet.screw.locks(friction):
            return ""
        return (
            f"its screw ({sheet.screw.lead_angle_deg:.0f} deg lead angle) does not lock at "
            f"friction {friction:g}: only gear and motor hold the load. Plan a brake"
        )
    if sheet.static_n is None:
        return "nothing says that it holds the load without current: ask, or plan a brake"
    return ""


def _unknown_room(asked: Asked, sheet: Sheet) -> str:
    if asked.travel.pins_mm is not None and sheet.retracted_mm is None:
        return "whether it fits between the pins is not known: its retracted length is not given"
    return ""


def _notes(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> list[str]:
    return [
        text
        for text in (
            _under_voltage(asked, sized, sheet, at),
            _assumed_speed(asked, sheet),
            *_assumed(asked, sheet),
            _rod(asked, sized, sheet, at),
        )
        if text
    ]


def _under_voltage(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> str:
    ratio = asked.duty.volts / sheet.volts
    if ratio >= 0.9:
        return ""
    return (
        f"{asked.duty.volts:g} V on a rod for {sheet.volts:g} V: without load "
        f"{_of_free(sized, at)} of its speed, under load less; it stalls at "
        f"{asked.force(float(sized.stall_n[at]))}"
    )


def _assumed_speed(asked: Asked, sheet: Sheet) -> str:
    part = asked.assumed.rated_speed_share
    if sheet.speed_rated_mm_s is None:
        return f"speed under rated load not given: {share(part)} of that without load assumed"
    if sheet.speed_free_mm_s is None:
        return "speed without load not given: taken to run no faster than under rated load"
    return ""


def _assumed(asked: Asked, sheet: Sheet) -> list[str]:
    assumed, notes = asked.assumed, []
    if sheet.static_n is None:
        notes.append("static force not given: no more than the dynamic one assumed")
    if sheet.amps_rated is None:
        notes.append("current not given: current, energy and stall are not reckoned")
    elif sheet.amps_free is None:
        part = share(assumed.free_current_share)
        notes.append(f"current without load not given: {part} of the rated one assumed")
    if sheet.duty is None:
        window = (sheet.window_s or assumed.window_s) / 60.0
        notes.append(f"duty not given: {share(assumed.duty)} in {window:g} min assumed")
    if sheet.pot is None:
        notes.append("the sheet says nothing of a pot")
    return notes


def _rod(asked: Asked, sized: Sized, sheet: Sheet, at: int) -> str:
    least = float(sized.least_rod_mm[at])
    if sheet.rod_mm is not None or not least > 0.0:
        return ""
    return (
        "buckling not checked, rod diameter not given: it should be "
        f"{asked.units.length(least)} or more"
    )
