"""Every wiring that a rod with so many wires may have, and whether ohm readings fit it.

A wiring is a tuple of parts on numbered wires; a wire in no part is connected to nothing. Limits
are common practice, no source: a motor reads 0.2 to 60 ohm both ways, or open, or like a diode one
way, when it rests at an end switch; a pot has 1 to 100 kohm between its ends; a closed contact at
most 0.5 ohm. A sensor with electronics in it reads differently when the probes change places,
except across pull-up resistors. The meter errs by up to 10 %, and its leads add up to 0.5 ohm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from itertools import combinations

OPEN_OHM = math.inf
ERROR = 0.10
LEADS_OHM = 0.5
MOTOR_OHM = (0.2, 60.0)
POT_OHM = (1_000.0, 100_000.0)
CONTACT_OHM = 0.5
SENSOR_FROM_OHM = 67.0  # less is no semiconductor
ONE_WAY = 1.5  # a diode: one way reads at least so much more than the other
EVER = (0.0, math.inf)

Span = tuple[float, float]


class Kind(Enum):
    """What a part is."""

    MOTOR = "motor"
    POT = "pot"  # wires: end, end, wiper
    SWITCH = "switch"
    SENSOR = "powered sensor"


@dataclass(frozen=True, slots=True)
class Part:
    """A part and its wires, the wiper of a pot last."""

    kind: Kind
    wires: tuple[int, ...]


Wiring = tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """Ohm as shown by the meter; `half` is half a step of its last digit."""

    ohm: float
    half: float = 0.0

    @property
    def open(self) -> bool:
        """Beyond the meter's range."""
        return math.isinf(self.ohm)

    @property
    def true(self) -> Span:
        """Where the true resistance may lie, in ohm."""
        if self.open:
            return (math.inf, math.inf)
        low = (self.ohm - self.half - LEADS_OHM) / (1.0 + ERROR)
        return (max(0.0, low), (self.ohm + self.half) / (1.0 - ERROR))


@dataclass(frozen=True, slots=True)
class Probe:
    """Red probe on one wire, black probe on another, at the rod's place `place` (0, 1, ...)."""

    place: int
    red: int
    black: int

    @property
    def pair(self) -> tuple[int, int]:
        """The two wires in order."""
        return (min(self.red, self.black), max(self.red, self.black))


Readings = Mapping[Probe, Reading]


def wirings(count: int, motor: bool = True) -> Iterator[Wiring]:
    """All wirings of `count` wires. `motor`: the motor's two are among them."""
    wires = tuple(range(count))
    if not motor:
        yield from _without_motor(wires)
        return
    for pair in combinations(wires, 2):
        rest = tuple(w for w in wires if w not in pair)
        yield from ((Part(Kind.MOTOR, pair), *more) for more in _without_motor(rest))


def _without_motor(wires: tuple[int, ...]) -> Iterator[Wiring]:
    yield from _sensors(wires)
    for track in combinations(wires, 3):
        rest = tuple(w for w in wires if w not in track)
        for wiper in track:
            ends = tuple(w for w in track if w != wiper)
            pot = Part(Kind.POT, (*ends, wiper))
            yield from ((pot, *more) for more in _sensors(rest))


def _sensors(wires: tuple[int, ...]) -> Iterator[Wiring]:
    yield from _switches(wires)
    for size in (3, 4):
        for group in combinations(wires, size):
            rest = tuple(w for w in wires if w not in group)
            yield from ((Part(Kind.SENSOR, group), *more) for more in _switches(rest))


def _switches(wires: tuple[int, ...], most: int = 2) -> Iterator[Wiring]:
    yield ()
    if not most:
        return
    for pair in combinations(wires, 2):
        rest = tuple(w for w in wires if w > pair[0] and w != pair[1])
        yield from ((Part(Kind.SWITCH, pair), *more) for more in _switches(rest, most - 1))


# ---------------------------------------------------------------- what fits


def part_fits(part: Part, readings: Readings) -> bool:
    """Whether the readings between a part's own wires can all be true of it."""
    places: dict[int, dict[Probe, Reading]] = {}
    for probe, reading in readings.items():
        if probe.red in part.wires and probe.black in part.wires:
            places.setdefault(probe.place, {})[probe] = reading
    if part.kind is Kind.POT:
        return _pot_fits(part, places)
    fits = {Kind.MOTOR: _motor_fits, Kind.SWITCH: _switch_fits, Kind.SENSOR: _sensor_fits}
    return all(fits[part.kind](part, seen) for seen in places.values())


def _motor_fits(part: Part, seen: Readings) -> bool:
    values = list(seen.values())
    if all(_meet(v.true, MOTOR_OHM) for v in values) and _alike(values):
        return True
    return at_end(values)


def at_end(values: Iterable[Reading]) -> bool:
    """Whether readings both ways may be those of a winding behind an open switch and its diode."""
    both = sorted(values, key=lambda v: v.ohm)
    if len(both) < 2:
        return both[0].open or both[0].true[1] > MOTOR_OHM[1]
    return both[1].open or (both[1].true[0] > POT_OHM[1] and _differ(both))


def _switch_fits(part: Part, seen: Readings) -> bool:
    values = seen.values()
    return all(v.open for v in values) or all(v.true[0] <= CONTACT_OHM for v in values)


def _sensor_fits(part: Part, seen: Readings) -> bool:
    if any(v.true[1] < SENSOR_FROM_OHM for v in seen.values()):
        return False
    pull_ups = 1 if len(part.wires) == 3 else 3
    dead = 1 if len(part.wires) == 3 else 0
    for both in _pairs(seen).values():
        if len(both) == 2:
            open_both = both[0].open and both[1].open
            dead -= open_both
            pull_ups -= _alike(both) and not open_both
    return pull_ups >= 0 and dead >= 0


def _pot_fits(part: Part, places: Mapping[int, Readings]) -> bool:
    first, second, wiper = part.wires
    whole = POT_OHM
    for seen in places.values():
        spans = {pair: _common(both) for pair, both in _pairs(seen).items()}
        if any(span is None for span in spans.values()):
            return False
        legs = [spans.get(_pair(end, wiper)) or EVER for end in (first, second)]
        sums = (legs[0][0] + legs[1][0], legs[0][1] + legs[1][1])
        known = spans.get(_pair(first, second)) or EVER
        whole = _cut(_cut(whole, known), sums)
        if whole[0] > whole[1]:
            return False
    return True


def _pairs(seen: Readings) -> dict[tuple[int, int], list[Reading]]:
    found: dict[tuple[int, int], list[Reading]] = {}
    for probe, reading in seen.items():
        found.setdefault(probe.pair, []).append(reading)
    return found


def _pair(one: int, other: int) -> tuple[int, int]:
    return (min(one, other), max(one, other))


def _common(values: list[Reading]) -> Span | None:
    """Where a plain resistor may lie; None for an open one, or one that differs by polarity."""
    span: Span = EVER
    for value in values:
        if value.open:
            return None
        span = _cut(span, value.true)
    return span if span[0] <= span[1] else None


def alike(one: Reading, other: Reading) -> bool:
    """Whether two readings may be of one resistance."""
    return (one.open and other.open) or _meet(one.true, other.true)


def _alike(values: list[Reading]) -> bool:
    return len(values) < 2 or alike(values[0], values[1])


def _differ(values: list[Reading]) -> bool:
    low, high = sorted(v.ohm for v in values)
    return high >= ONE_WAY * low


def _meet(one: Span, other: Span) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _cut(one: Span, other: Span) -> Span:
    return (max(one[0], other[0]), min(one[1], other[1]))
