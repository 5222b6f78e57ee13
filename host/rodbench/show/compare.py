"""What changed between two proof runs, in words: where, how much, and the likely cause."""

from __future__ import annotations

from collections.abc import Callable

from rodbench.record.runs import Run
from rodbench.science.compare import Comparison, Finding
from rodbench.science.taken import Look
from rodbench.settings.units import Units
from rodbench.show.tables import table

NOTHING = "Nothing changed by more than its uncertainty."
UNSEEN = {
    "ends": "The rod's own ends were not found again in both runs: a pot that slipped as a whole "
    "cannot be seen.",
    "strokes": "One of the runs has no strokes: speed, current and binding cannot be seen.",
    "currents": "Without a current sensor binding, magnets and the supply's resistance cannot be "
    "seen.",
    "motor": "The runs at two outputs are too short or too much alike: weaker magnets cannot be "
    "told from more friction.",
}
WAYS = {0.0: "both ways", 1.0: "extending", -1.0: "retracting"}


def report(baseline: Run, later: Run, found: Comparison, units: Units) -> str:
    """Sentences first, then what was looked at."""
    lines = [f"{later.name} against the baseline {baseline.name}", ""]
    lines += sentences(found, units)
    lines += [f"Note: {text}" for text in notes(baseline, later, found)]
    return "\n".join([*lines, "", looks_table(found, units)])


def sentences(found: Comparison, units: Units) -> list[str]:
    """A sentence for each finding."""
    return [_WORDS[finding.kind](finding, units) for finding in found.findings] or [NOTHING]


def notes(baseline: Run, later: Run, found: Comparison) -> list[str]:
    """What stands in the way of comparing, and what could not be seen."""
    told = []
    if baseline.rod != later.rod:
        told.append(f'The runs are of two rods, "{baseline.rod}" and "{later.rod}".')
    if baseline.settings != later.settings:
        told.append(
            "The settings were changed between the runs: the strokes may differ for that alone."
        )
    return told + [UNSEEN[kind] for kind in found.unseen]


def looks_table(found: Comparison, units: Units) -> str:
    """Every quantity, its change, and what a change had to exceed."""
    rows = [_look(look, units) for look in found.looks]
    heads = ("", "baseline", "later", "change", "counts beyond", "")
    return table(heads, rows, right=(1, 2, 3, 4))


def _look(look: Look, units: Units) -> tuple[str, str, str, str, str, str]:
    def shown(value: float, sign: str = "") -> str:
        if look.unit.startswith("mm"):
            return f"{units.value(value):{sign}.{3 if units.name == 'in' else 2}f}"
        return f"{value:{sign}.3f}"

    unit = look.unit.replace("mm", units.name) if look.unit.startswith("mm") else look.unit
    return (
        f"{look.name}, {unit}", shown(look.baseline), shown(look.later), shown(look.change, "+"),
        shown(look.limit), "changed" if look.changed else "",
    )  # fmt: skip


def _percent(share: float) -> str:
    return f"{abs(100.0 * share):.0f} %"


def _binding(finding: Finding, units: Units) -> str:
    said = finding.figures
    where = f"{units.length(said['at_mm'])} ({units.span(said['from_mm'], said['to_mm'])})"
    amps, share = (
        f"{abs(said['change_a']):.2f} A",
        f"{_percent(said['share'])} of the current there",
    )
    if finding.kind == "freer":
        return f"Freer near {where}: {amps} less, {share}. What was tight there has given way."
    return (
        f"Binding near {where}: {amps} more, {share}, as the mean of both ways. Look there for "
        "dirt, a bent rod or screw, a guide that has become tight."
    )


def _magnets(finding: Finding, units: Units) -> str:
    constant = 1.0 + finding.figures["constant_share"]
    amps = finding.figures["current_share"]
    change = f"{_percent(amps)} {'more' if amps > 0 else 'less'} current for the same work"
    if constant < 1.0:
        return (
            f"Weaker magnets: {_percent(1.0 / constant - 1.0)} more speed at no load for each "
            f"volt, with {change}. Heat does that for good; the pull at the trip is less too."
        )
    return (
        f"Stronger magnets than the baseline's: {_percent(1.0 / constant - 1.0)} less speed at no "
        f"load for each volt, with {change}. Another motor, or a baseline taken hot."
    )


def _source(finding: Finding, units: Units) -> str:
    said = finding.figures
    ohm = f"{said['baseline_ohm']:.2f} to {said['later_ohm']:.2f} ohm"
    if said["change_ohm"] > 0.0:
        return (
            f"Higher source resistance, {ohm}: the supply sags more at the same current. Look at "
            "terminals, fuse holder, leads, and the battery."
        )
    return f"Lower source resistance, {ohm}: another supply or better leads."


def _pot_shift(finding: Finding, units: Units) -> str:
    said = finding.figures
    side = "more" if said["shift_mm"] > 0.0 else "less"
    shift = units.length(abs(said["shift_mm"]))
    return (
        f"Pot drift: both ends of the travel now read {shift} {side}, "
        f"{abs(100.0 * said['of_reference']):.1f} % of the reference. The pot slipped on its shaft "
        "or its feed changed; every position and soft stop is off by as much: "
        "rodbench calibrate endpoints"
    )


def _ends(finding: Finding, units: Units) -> str:
    said = finding.figures
    moved = (
        f"retracted {_signed(said['retracted_mm'], units)}, "
        f"extended {_signed(said['extended_mm'], units)}"
    )
    if finding.kind == "pot-span":
        return f"The ends moved apart or together ({moved}): the pot's scale or the stroke changed."
    return f"One end moved ({moved}): its end switch or stop, or the pot is worn there."


def _signed(mm: float, units: Units) -> str:
    return f"{'+' if mm > 0 else '-'}{units.length(abs(mm))}"


def _level(finding: Finding, units: Units) -> str:
    said = finding.figures
    more = "more" if finding.kind == "stiffer" else "less"
    cause = "grease, cold, a load that grew" if more == "more" else "a load that fell, or run in"
    way = WAYS[said["way"]]
    return f"{_percent(said['share'])} {more} current over the whole way, {way}: {cause}."


def _speed(finding: Finding, units: Units) -> str:
    said, word = finding.figures, finding.kind.capitalize()
    cause = "friction, load, brushes or leads" if word == "Slower" else "less friction or load"
    way = WAYS[said["way"]]
    return f"{word} at the same supply, {way}: by {_percent(said['share'])}. Likely {cause}."


def _time(finding: Finding, units: Units) -> str:
    said = finding.figures
    return (
        f"The moves take {_percent(said['share'])} {finding.kind}, {WAYS[said['way']]}: see "
        "whether supply, load or settings changed."
    )


def _rests(finding: Finding, units: Units) -> str:
    said = finding.figures
    side = "further" if said["change_mm"] > 0.0 else "shorter"
    return (
        f"Moves rest {units.length(abs(said['change_mm']))} {side} than they did, "
        f"{WAYS[said['way']]}: see what holds the rod once it is at rest, and what it carries."
    )


_WORDS: dict[str, Callable[[Finding, Units], str]] = {
    "binding": _binding,
    "freer": _binding,
    "magnets": _magnets,
    "source": _source,
    "pot-shift": _pot_shift,
    "pot-span": _ends,
    "end-moved": _ends,
    "stiffer": _level,
    "easier": _level,
    "slower": _speed,
    "faster": _speed,
    "longer": _time,
    "shorter": _time,
    "rests": _rests,
}
