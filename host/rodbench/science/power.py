"""The way of the motor current: supply, fuse, wire and drivers of all rods together.

One fuse at the supply's end guards all wire behind it, to the bridges and on to the motors, so all
of that wire carries the fuse. Rules (common practice, no source): supply and driver have a quarter
more than what runs; a driver bears a stall for the moment until a trip ends it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from . import fuses
from .conductors import COLD_C, HOT_C, RATED_AMBIENT_C, Wire, all_awg, all_mm2

MARGIN = 1.25  # of supply and driver over what runs
DROP_MAX = 0.03  # share of the supply lost in the wires while all rods run (common practice)


@dataclass(frozen=True, slots=True)
class Rod:
    """What is known of one axis; currents in A, wire one way from bridge to motor in m.

    `running_from` says where the running current is from; `pot` whether there is one.
    """

    axis: int
    name: str = ""
    running_a: float | None = None
    running_from: str = ""
    stall_a: float | None = None
    trip_a: float | None = None
    driver_continuous_a: float | None = None
    driver_peak_a: float | None = None
    wire_m: float | None = None
    pot: bool = True
    pot_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the machine; wire one way from supply to bridges in m."""

    rods: tuple[Rod, ...]
    supply_v: float | None = None
    supply_rated_a: float | None = None
    supply_wire_m: float | None = None
    fuse_a: float | None = None  # fitted
    wire: Wire | None = None  # fitted, the thinnest of all that carries motor current
    drop_max: float = DROP_MAX
    ambient_c: float = RATED_AMBIENT_C

    def total(self, name: str) -> float | None:
        """The sum of a figure over all rods; None where one is not known."""
        each = [getattr(rod, name) for rod in self.rods]
        return None if None in each else float(sum(each))


@dataclass(frozen=True, slots=True)
class Drop:
    """Volts that the wires take from one motor: all rods running, wire cold or hot, and this rod
    stalled beside the others running, hot. None: not known."""

    axis: int
    running_v: float
    running_hot_v: float
    stall_hot_v: float | None


@dataclass(frozen=True, slots=True)
class Sized:
    """A size of wire, what it carries where it lies, and its drops, empty where not known."""

    wire: Wire
    carries_a: float
    drops: tuple[Drop, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """`fits`, or `too small`, or `not known`; the least that is needed; a stall as the least peak
    rating, None where it is not known."""

    word: str
    least_a: float | None
    least_peak_a: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """All choices. `fuse_a` is the fuse to fit, `by_mm2` and `by_awg` the wire to take, None where
    there is none or too little is known; `fitted` the wire that is there; `problems` say what does
    not go together."""

    known: Known
    fuse_a: float | None
    least_fuse_a: float | None
    by_mm2: Sized | None
    by_awg: Sized | None
    fitted: Sized | None
    supply: Verdict
    drivers: tuple[Verdict, ...]
    problems: tuple[str, ...]


def plan(known: Known) -> Plan:
    """Everything that follows from what is known."""
    least, fuse = _fuse(known)
    guarded = max(known.fuse_a or 0.0, fuse or 0.0) or None  # the greatest that the wire may meet
    sized = [_thinnest(known, guarded, series) for series in (all_mm2(), all_awg())]
    return Plan(
        known=known,
        fuse_a=fuse,
        least_fuse_a=least,
        by_mm2=sized[0],
        by_awg=sized[1],
        fitted=None if known.wire is None else _sized(known, known.wire),
        supply=_supply(known),
        drivers=tuple(_driver(rod) for rod in known.rods),
        problems=tuple(_problems(known, least, fuse, guarded, sized)),
    )


def drop(known: Known, wire: Wire, axis: int, celsius: float, stalled: bool = False) -> float:
    """Volts lost to one motor by stranded wire, there and back: on the common way with the current
    of all rods.

    Needs lengths and currents of all rods, and this rod's stall where it is `stalled`.
    """
    rod = next(each for each in known.rods if each.axis == axis)
    own = (rod.stall_a if stalled else rod.running_a) or 0.0
    others = sum(each.running_a or 0.0 for each in known.rods if each.axis != axis)
    per_m = 2.0 * wire.ohm(1.0, celsius) * wire.stranded
    return per_m * ((known.supply_wire_m or 0.0) * (own + others) + (rod.wire_m or 0.0) * own)


def drops_known(known: Known) -> bool:
    """Whether voltage, and currents and lengths of all rods, are there."""
    needed = [known.supply_v, known.supply_wire_m, *(rod.wire_m for rod in known.rods)]
    return None not in needed and known.total("running_a") is not None


def share(known: Known, volts: float) -> float:
    """Volts as a share of the supply, which must be known."""
    return volts / (known.supply_v or math.nan)


# ---------------------------------------------------------------- fuse


def trips(known: Known) -> list[float]:
    """The currents in A at which the board stops a rod."""
    return [rod.trip_a for rod in known.rods if rod.trip_a is not None]


def _fuse(known: Known) -> tuple[float | None, float | None]:
    """The least rating by the rule, and the fuse to fit."""
    continuous = known.total("running_a")
    if continuous is None:
        return None, None
    of_rods = trips(known)
    most = None if known.wire is None else known.wire.carries_at(known.ambient_c)
    fuse = fuses.choose(continuous, of_rods, most)
    fitted = known.fuse_a
    if fitted and fuses.bears(fitted, continuous, of_rods) and (most is None or fitted <= most):
        fuse = fitted
    return fuses.least_a(continuous, of_rods), fuse


# ---------------------------------------------------------------- wire


def _sized(known: Known, wire: Wire) -> Sized:
    drops: list[Drop] = []
    for rod in known.rods if drops_known(known) else ():
        cold, hot = (drop(known, wire, rod.axis, celsius) for celsius in (COLD_C, HOT_C))
        stall = rod.stall_a and drop(known, wire, rod.axis, HOT_C, stalled=True)
        drops.append(Drop(rod.axis, cold, hot, stall or None))
    return Sized(wire, wire.carries_at(known.ambient_c), tuple(drops))


def _thinnest(known: Known, guarded_a: float | None, series: Iterable[Wire]) -> Sized | None:
    """The thinnest wire that carries the fuse and, where that is known, keeps the drop."""
    if guarded_a is None:
        return None
    sized = (_sized(known, wire) for wire in series)
    return next((each for each in sized if _does(known, each, guarded_a)), None)


def _does(known: Known, sized: Sized, guarded_a: float) -> bool:
    return sized.carries_a >= guarded_a and _keeps(known, sized)


def _keeps(known: Known, sized: Sized) -> bool:
    """Whether every drop, running and hot, lies within what is allowed."""
    return all(share(known, each.running_hot_v) <= known.drop_max for each in sized.drops)


# ---------------------------------------------------------------- supply and drivers


def _supply(known: Known) -> Verdict:
    running, stall = known.total("running_a"), known.total("stall_a")
    least = None if running is None else MARGIN * running
    return Verdict(_word(known.supply_rated_a, least), least, stall)


def _driver(rod: Rod) -> Verdict:
    least = None if rod.running_a is None else MARGIN * rod.running_a
    words = {_word(rod.driver_continuous_a, least), _peak_word(rod)}
    word = next(each for each in ("too small", "not known", "fits") if each in words)
    return Verdict(word, least, rod.stall_a)


def _peak_word(rod: Rod) -> str:
    """A driver that bears the stall for good needs no peak rating."""
    if rod.stall_a and rod.driver_continuous_a and rod.driver_continuous_a >= rod.stall_a:
        return "fits"
    return _word(rod.driver_peak_a, rod.stall_a)


def _word(rating: float | None, least: float | None) -> str:
    if rating is None or least is None:
        return "not known"
    return "fits" if rating >= least else "too small"


# ---------------------------------------------------------------- what does not go together


def _problems(
    known: Known,
    least: float | None,
    fuse: float | None,
    guarded: float | None,
    sized: Sequence[Sized | None],
) -> Iterable[str]:
    if least is not None:
        yield from _wrong_fuse(known, least, fuse)
    yield from _wrong_wire(known)
    if guarded is not None and sized == [None, None]:
        yield _no_wire(known, guarded)
    if known.supply_v is not None and fuses.voltage_class(known.supply_v) is None:
        yield f"no blade fuse is made for {known.supply_v:g} V: {fuses.VOLTAGES_V[-1]:g} V at most"


def _wrong_fuse(known: Known, least: float, fuse: float | None) -> Iterable[str]:
    fitted, continuous = known.fuse_a, known.total("running_a") or 0.0
    if fitted and not fuses.bears(fitted, continuous, trips(known)):
        yield f"the fuse of {fitted:g} A is too small: by the rule it takes {least:.3g} A or more"
    if fuse is not None:
        return
    if known.wire is None or fuses.choose(continuous, trips(known)) is None:
        yield f"no fuse of the series bears it: {least:.3g} A or more, and it ends at 40 A"
    else:
        most = known.wire.carries_at(known.ambient_c)
        yield (
            f"no fuse does both: what runs takes {least:.3g} A or more, and the wire "
            f"({known.wire.name}) carries {most:.3g} A. A thicker wire"
        )


def _wrong_wire(known: Known) -> Iterable[str]:
    if known.wire is None:
        return
    fitted = _sized(known, known.wire)
    if known.fuse_a and known.fuse_a > fitted.carries_a:
        yield (
            f"the wire ({fitted.wire.name}) carries {fitted.carries_a:.3g} A and burns before the "
            f"fuse of {known.fuse_a:g} A opens"
        )
    for each in fitted.drops if not _keeps(known, fitted) else ():
        lost = share(known, each.running_hot_v)
        if lost > known.drop_max:
            yield (
                f"the wire ({fitted.wire.name}) takes {100 * lost:.2g} % from motor {each.axis}, "
                f"more than the {100 * known.drop_max:.3g} % allowed"
            )


def _no_wire(known: Known, guarded: float) -> str:
    thickest = _sized(known, all_mm2()[-1])
    if thickest.carries_a < guarded:
        return (
            f"no wire up to {thickest.wire.name} carries a fuse of {guarded:g} A in air of "
            f"{known.ambient_c:g} deg C"
        )
    worst = max(share(known, each.running_hot_v) for each in thickest.drops)
    return (
        f"no wire up to {thickest.wire.name} keeps the drop: even that takes {100 * worst:.2g} % "
        f"of {known.supply_v:g} V, more than the {100 * known.drop_max:.3g} % allowed. A supply "
        "nearer to the rods, of a higher voltage, or more drop allowed"
    )
