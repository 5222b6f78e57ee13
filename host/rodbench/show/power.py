"""Supply, fuse, wire, drivers, pots and capacitors of a machine as tables and sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from rodbench.science import fuses, pot_source, suppression
from rodbench.science.conductors import COLD_C, HOT_C
from rodbench.science.power import (
    Known,
    Plan,
    Rod,
    Sized,
    drops_known,
    plan,
    share,
    trips,
)
from rodbench.science.wiring import SERIES_OHM, SUPPLY_READS_V, span_kept
from rodbench.show.schematic import Figures
from rodbench.show.tables import table
from rodbench.show.wire_unknown import Unknown

__all__ = ["Plan", "as_data", "figures", "plan", "text", "way"]
NEAR_TOP = 0.8  # from here a charging battery may leave the supply input's range
MAY_OPEN = 2.0  # a fuse may open within seconds at so many times its rating (memory)
M_PER_FT = 0.3048  # exact


def text(made: Plan, unknown: list[Unknown], units: str = "mm") -> str:
    """Everything about the motor current, for a terminal; `units` mm or in, for m or ft."""
    return _parts(_needs(made), made, [*rules(made, units), "", *beside(made)], unknown)


def way(made: Plan, unknown: list[Unknown], units: str = "mm") -> str:
    """The same without a board: supply, fuse and wire of one rod."""
    return _parts(_needs(made, drivers=False), made, list(rules(made, units)), unknown)


def _parts(needs: str, made: Plan, sentences: list[str], unknown: list[Unknown]) -> str:
    wrong = "\n".join(f"! Does not go together: {line}." for line in made.problems)
    missing = "\n".join(f"not known: {what}; give it as {how}" for what, how in unknown)
    parts = (needs, _wires(made), wrong, "\n".join(sentences), missing)
    return "\n\n".join(part for part in parts if part)


# ---------------------------------------------------------------- tables


def _needs(made: Plan, drivers: bool = True) -> str:
    known, fuse = made.known, made.fuse_a
    several = len(known.rods) > 1
    heads = (f"motor current{', all rods' if several else ''}", "needs", "there is", "")
    least, peak = made.supply.least_a, made.supply.least_peak_a
    there = known.supply_rated_a
    watts = f", {least * known.supply_v:.0f} W" if least and known.supply_v else ""
    needed = f"{_amps(least, 'or more')}{watts}"
    rows = [("supply, for good", needed, _amps(there), made.supply.word)]
    rows += [("supply, while all stall" if several else "supply, at a stall", _amps(peak), "", "")]
    rows += [("fuse", _fuse(made), _amps(known.fuse_a), _fuse_word(known.fuse_a, fuse))]
    for rod, verdict in zip(known.rods, made.drivers, strict=True) if drivers else ():
        always, moment = rod.driver_continuous_a, rod.driver_peak_a
        name = f"driver {rod.axis}"
        rows += [
            (f"{name}, for good", _amps(verdict.least_a, "or more"), _amps(always), verdict.word),
            (f"{name}, at a stall", _amps(verdict.least_peak_a, "or more"), _amps(moment), ""),
        ]
    return table(heads, rows)


def _fuse(made: Plan) -> str:
    if made.fuse_a is None:
        return _amps(made.least_fuse_a, "or more")
    return f"{made.fuse_a:g} A"


def _fuse_word(fitted: float | None, fuse: float | None) -> str:
    if fitted is None or fuse is None:
        return "not known" if fitted is not None else ""
    return "fits" if fitted == fuse else f"change it for {fuse:g} A"


def _amps(amps: float | None, tail: str = "") -> str:
    return "not known" if amps is None and tail else "" if amps is None else f"{amps:.3g} A {tail}"


def _wires(made: Plan) -> str:
    """The sizes to take, and the wire that is there, with the drop at the worst motor."""
    heads = (
        "wire behind the fuse",
        "carries",
        f"runs, {COLD_C:.0f} C",
        f"{HOT_C:.0f} C",
        "stalled",
    )
    sized = [("take", made.by_mm2), ("or", made.by_awg), ("there is", made.fitted)]
    rows = [_wire(made.known, word, each) for word, each in sized if each is not None]
    return table(heads, rows) if rows else ""


def _wire(known: Known, word: str, sized: Sized) -> tuple[str, ...]:
    drops = sized.drops
    running = (
        [max(each.running_v for each in drops), max(each.running_hot_v for each in drops)]
        if drops
        else []
    )
    stalls = [each.stall_hot_v for each in drops]
    cells = [f"{volts:.2f} V {100 * share(known, volts):.1f} %" for volts in running]
    worst = [volts for volts in stalls if volts is not None]
    cells += [f"{max(worst):.2f} V" if worst and len(worst) == len(stalls) else "not known"]
    while len(cells) < 3:
        cells.insert(0, "not known")
    return (f"{word} {sized.wire.name}", f"{sized.carries_a:.3g} A", *cells)


# ---------------------------------------------------------------- sentences


def rules(made: Plan, units: str = "mm") -> Iterator[str]:
    """By what rules the figures were chosen."""
    known = made.known
    yield from (_runs(rod) for rod in known.rods if rod.running_a is not None)
    if drops_known(known):
        yield _lengths(known, units)
    volts = fuses.voltage_class(known.supply_v) if known.supply_v is not None else None
    kind = f", {volts:g} V type" if volts else ""
    yield (
        f"Fuse: a blade fuse (ISO 8820-3{kind}) of at least what runs over "
        f"{fuses.LOAD_SHARE:.2f}, no trip above it, and no wire behind it that carries less."
    )
    yield (
        f"Wire: in air of up to {known.ambient_c:.0f} deg C, single pairs; and no more than "
        f"{100 * known.drop_max:.3g} % lost while all rods run, the wire at {HOT_C:.0f} deg C. "
        "Both stranded. The stop switch is on this way, too."
    )
    if any(rod.driver_continuous_a for rod in known.rods):
        yield "Driver: its ratings hold with the cooling that its sheet asks for."
    yield from _stalls(made)


def _runs(rod: Rod) -> str:
    more = "a heavier load draws more"
    return f"Axis {rod.axis} runs with {rod.running_a:.3g} A, {rod.running_from}; {more}."


def _lengths(known: Known, units: str) -> str:
    ways = [f"{_far(rod.wire_m, units)} to motor {rod.axis}" for rod in known.rods if rod.wire_m]
    onward = f", then {', '.join(ways)}" if ways else ""
    return f"Length, one way: {_far(known.supply_wire_m, units)} from the supply{onward}."


def _far(metres: float | None, units: str) -> str:
    """A length of wire for a person."""
    far = metres or 0.0
    return f"{far / M_PER_FT:.3g} ft" if units == "in" else f"{far:.3g} m"


def _stalls(made: Plan) -> Iterator[str]:
    known, fuse, stall = made.known, made.fuse_a, made.supply.least_peak_a
    least = min((rod.stall_a for rod in known.rods if rod.stall_a), default=None)
    enough = fuses.choose(known.total("running_a") or 0.0, trips(known))
    if fuse and enough and enough < fuse:
        yield f"A fuse of {enough:g} A would do by the rule, and less wire behind it."
    if fuse and least and least < fuses.HOLDS * fuse:
        yield (
            f"A stalled rod draws {least:.3g} A: a fuse of {fuse:g} A bears that for minutes or "
            "for ever. It guards the wire, not the motor: that is what trip and duty are for."
        )
    if fuse and stall and stall > MAY_OPEN * fuse:
        yield (
            f"All rods stalled, or started without a ramp, draw {stall / fuse:.2g} times the "
            f"fuse of {fuse:g} A: it may open. Where it does so at starts, the next size, if the "
            "wire carries it."
        )
    if fuse and known.supply_rated_a and known.supply_rated_a < fuses.HOLDS * fuse:
        yield (
            f"The supply gives {known.supply_rated_a:g} A: it may limit before the fuse opens. "
            "The wire bears that."
        )
    if stall and known.supply_rated_a and known.supply_rated_a < stall:
        yield (
            f"All rods stalled ask for {stall:.3g} A: the supply sags or limits until a trip ends "
            "it. Starts ask for it too, less with ramps."
        )


def beside(made: Plan) -> Iterator[str]:
    """Pots and capacitors, axis by axis."""
    for rod in made.known.rods:
        if rod.pot and rod.pot_ohm is not None:
            yield _pot(rod.axis, rod.pot_ohm)
    if made.known.supply_v is not None:
        yield from _capacitors(made.known, made.known.supply_v)
        if made.known.supply_v > NEAR_TOP * SUPPLY_READS_V:
            yield (
                f"The supply input reads up to {SUPPLY_READS_V:g} V with 47 kohm over 10 kohm, and "
                "a battery on charge lies a fifth above its name: for more, another divider and "
                "supply_divider_ratio."
            )
    yield (
        "Twist both motor leads together, and both supply wires; keep pot and sensor wires in a "
        "cable of their own, crossing the others at a right angle."
    )


_TOO_MUCH = (
    f" Up to {pot_source.greatest_pot_ohm() / 1000:.0f} kohm would do: this one's reading is "
    "pulled towards the pin that was read before."
)


def _pot(axis: int, ohm: float) -> str:
    seen, advice = pot_source.at_pin_ohm(ohm, SERIES_OHM), pot_source.ADVICE_OHM
    place, bent = pot_source.worst_loading(ohm)
    word = "within" if seen <= advice else "ABOVE"
    much = "" if seen <= advice else _TOO_MUCH
    return (
        f"Pot {axis}, {ohm / 1000:.3g} kohm: the converter sees {seen / 1000:.3g} kohm at mid "
        f"travel (R/4 and 1 kohm), {word} the {advice / 1000:.0f} kohm advised.{much} The 470 kohm "
        f"bends it by at most {-100 * bent:.2g} % of the span, near {100 * place:.0f} % of travel, "
        f"by nothing at the ends; {SERIES_OHM:.0f} ohm in the feed take "
        f"{100 * (1 - span_kept(ohm)):.2g} % of the span."
    )


def _capacitors(known: Known, supply_v: float) -> Iterator[str]:
    rated = suppression.rated_v(supply_v)
    nf = suppression.motor_capacitor_nf(supply_v)
    if nf is not None:
        loss = suppression.motor_loss_w(nf * 1e-9, supply_v)
        yield (
            f"At each motor, across its leads: {nf:g} nF, ceramic, {rated:.0f} V or more. No more "
            f"at 20 kHz: it costs the bridge {loss:.2g} W."
        )
    for rod in known.rods:
        amps = rod.trip_a or rod.stall_a
        if amps is not None:
            yield _bulk(rod.axis, amps, supply_v)


def _bulk(axis: int, amps: float, supply_v: float) -> str:
    uf = suppression.bulk_uf(amps, supply_v)
    rated = suppression.rated_v(supply_v)
    if uf is None:
        return f"At bridge {axis}: no single usual capacitor keeps the ripple of {amps:.3g} A low."
    return (
        f"At bridge {axis}, across its supply, leads short: {uf:g} uF or more, {rated:.0f} V or "
        f"more, for {suppression.bulk_rms_a(amps):.2g} A of ripple (several side by side do)."
    )


# ---------------------------------------------------------------- beside the picture


def figures(made: Plan, axis: int) -> Figures:
    """What is written beside the parts of the motor's way; empty where it is not known."""
    rod = next(each for each in made.known.rods if each.axis == axis)
    volts, amps = made.known.supply_v, rod.trip_a or rod.stall_a
    nf = suppression.motor_capacitor_nf(volts) if volts else None
    uf = suppression.bulk_uf(amps, volts) if volts and amps else None
    names = [each.wire.name for each in (made.by_mm2, made.by_awg) if each is not None]
    return Figures(
        fuse=f"{made.fuse_a:g} A" if made.fuse_a else "",
        wire=f"wire {' or '.join(names)}" if names else "",
        bulk=f"{uf:g} u" if uf else "",
        motor=f"{nf:g} n" if nf else "",
    )


# ---------------------------------------------------------------- for programs


def as_data(made: Plan, missing: list[Unknown]) -> dict[str, Any]:
    """All of it for programs; None is not known."""
    known = made.known
    return {
        **way_data(made, missing),
        "drivers": [
            {"axis": rod.axis, **asdict(verdict)}
            for rod, verdict in zip(known.rods, made.drivers, strict=True)
        ],
        "pots": [_pot_data(rod.axis, rod.pot_ohm) for rod in known.rods if rod.pot_ohm],
        "beside": list(beside(made)),
    }


def way_data(made: Plan, missing: list[Unknown]) -> dict[str, Any]:
    """The same without a board."""
    known = made.known
    return {
        "supply_v": known.supply_v,
        "supply": asdict(made.supply),
        "fuse": {
            "take_a": made.fuse_a,
            "least_a": made.least_fuse_a,
            "fitted_a": known.fuse_a,
        },
        "wires": {
            "mm2": _wire_data(known, made.by_mm2),
            "awg": _wire_data(known, made.by_awg),
            "fitted": _wire_data(known, made.fitted),
            "drop_max": known.drop_max,
            "ambient_c": known.ambient_c,
        },
        "does_not_go_together": list(made.problems),
        "rules": list(rules(made)),
        "not_known": [{"what": what, "give_it_as": how} for what, how in missing],
    }


def _wire_data(known: Known, sized: Sized | None) -> dict[str, Any] | None:
    if sized is None:
        return None
    drops = [
        {**asdict(each), "share_hot": share(known, each.running_hot_v)} for each in sized.drops
    ]
    return {**asdict(sized.wire), "carries_here_a": sized.carries_a, "drops": drops}


def _pot_data(axis: int, ohm: float) -> dict[str, Any]:
    place, bent = pot_source.worst_loading(ohm)
    return {
        "axis": axis,
        "pot_ohm": ohm,
        "at_pin_ohm": pot_source.at_pin_ohm(ohm, SERIES_OHM),
        "advised_ohm": pot_source.ADVICE_OHM,
        "bent_at": place,
        "bent_by": bent,
        "span_kept": span_kept(ohm),
    }
