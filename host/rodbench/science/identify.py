"""Which wire is which, from ohm readings asked for pair by pair.

Every wiring that fits all readings is kept; the next pair is the one whose reading is expected to
tell most about which of them is true (mutual information, with rough chances that only settle the
order of questions, never the verdict). Where readings at one place of the rod cannot decide, the
rod must be moved; a motor that was never seen by the meter must be seen to move the rod.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import Enum
from itertools import combinations
from typing import TypeVar

import numpy as np

from rodbench.science.wirings import (
    Kind,
    Part,
    Probe,
    Reading,
    Wiring,
    alike,
    part_fits,
    wirings,
)

T = TypeVar("T")

PLACES = 3  # of the rod, the first included
NOTHING = 1e-9  # bits


@dataclass(frozen=True, slots=True)
class Battery:
    """Put a battery on these two wires, briefly, both ways: does the rod move?"""

    wires: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Move:
    """Move the rod by its motor on these two wires."""

    wires: tuple[int, int]


Step = Probe | Battery | Move


class Between(Enum):
    """What a wiring says of two wires; the values are columns of the table of chances."""

    NOTHING = 0
    MOTOR = 1
    ENDS = 2
    LEG = 3  # an end and the wiper
    SWITCH = 4
    SENSOR = 5


# Chances of: short, low, some, kilohms, megohms, open. Rough; they only choose what to ask next.
_FIRST = np.array(
    [
        [0.00, 0.00, 0.00, 0.00, 0.00, 1.00],
        [0.10, 0.60, 0.00, 0.00, 0.05, 0.25],
        [0.00, 0.00, 0.00, 1.00, 0.00, 0.00],
        [0.08, 0.04, 0.08, 0.80, 0.00, 0.00],
        [0.50, 0.00, 0.00, 0.00, 0.00, 0.50],
        [0.00, 0.00, 0.05, 0.35, 0.40, 0.20],
    ]
)
# Chances with the probes changed: the same as before, or another reading.
_AFTER_VALUE = np.array([[1.0, 0.0], [0.9, 0.1], [1.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.3, 0.7]])
_AFTER_OPEN = np.array([[1.0, 0.0], [0.6, 0.4], [1.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.3, 0.7]])
_WEIGHT = {Kind.MOTOR: 1.0, Kind.POT: 4.0, Kind.SWITCH: 0.5, Kind.SENSOR: 0.5}
_SPARE = 0.3  # weight of each wire that is connected to nothing


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is sure. Wires by number; `spare`: in no part, or an open switch contact where
    `open_pairs`; `unsure`: what each other wire may be. `fits` false: no wiring has these
    readings."""

    fits: bool
    motor: tuple[int, int] | None = None
    motor_by_elimination: bool = False
    pot_ends: tuple[int, int] | None = None
    wiper: int | None = None
    track: tuple[int, ...] = ()  # a pot whose wiper is not known yet
    switches: tuple[tuple[int, int], ...] = ()
    sensor: tuple[int, ...] = ()
    spare: tuple[int, ...] = ()
    open_pairs: bool = False
    unsure: dict[int, tuple[str, ...]] = field(default_factory=dict)

    @property
    def decided(self) -> bool:
        """Whether every wire has its place."""
        return self.fits and not (
            self.unsure or self.track or self.open_pairs or self.motor_by_elimination
        )


class Identification:
    """The readings so far, the wirings that fit them, and what to ask next. `motor`: the motor's
    two wires are among the `count` (2 to 8)."""

    def __init__(self, count: int, motor: bool = True) -> None:
        if not 2 <= count <= 8:
            raise ValueError("from 2 to 8 wires")
        self.count, self.motor = count, motor
        self.place = 0
        self.readings: dict[Probe, Reading] = {}
        self.moved_by: set[tuple[int, int]] = set()
        self.dead: set[tuple[int, int]] = set()
        self.halted = False  # the rod cannot, or must not, be moved
        self.asked = 0
        self.alive = list(wirings(count, motor))
        self._pairs = list(combinations(range(count), 2))
        self._between = _table(self.alive, self._pairs)
        self._weights = _chances_of(self.alive, count)

    # ------------------------------------------------------------ answers

    def read(self, probe: Probe, reading: Reading) -> None:
        """Take the answer to a Probe."""
        self.asked += 1
        self.readings[probe] = reading
        self._keep(self._fitting(not reading.open and probe.pair))

    def battery(self, wires: tuple[int, int], moved: bool) -> None:
        """Take the answer to a Battery. A rod that moved stands at another place now."""
        (self.moved_by if moved else self.dead).add(wires)
        self._keep(lambda w: (_motor_of(w) == wires) == moved)
        self.place += moved

    def moved(self) -> None:
        """The rod stands at another place now."""
        self.place += 1

    def halt(self) -> None:
        """The rod cannot be moved: decide by what is known."""
        self.halted = True

    # ------------------------------------------------------------ what next

    def next(self) -> Step | None:
        """What to ask next; None when nothing more can be learned, or all is decided."""
        if self.alive and not self._decided():
            return self._best_probe() or self._show_motor() or self._by_moving()
        if not self.alive:
            return None
        return self._show_motor() or self._show_sensor() or self._by_battery()

    def _decided(self) -> bool:
        return len({_key(w) for w in self.alive}) == 1

    def _best_probe(self) -> Probe | None:
        best, most = None, NOTHING
        masses = self._masses()
        for number, pair in enumerate(self._pairs):
            for probe in (Probe(self.place, *pair), Probe(self.place, *pair[::-1])):
                if probe in self.readings:
                    continue
                gain = _information(masses[number], self._chances(probe))
                if gain > most + NOTHING:
                    best, most = probe, gain
        return best

    def _chances(self, probe: Probe) -> np.ndarray:
        other = self.readings.get(Probe(probe.place, probe.black, probe.red))
        if other is None:
            return _FIRST
        return _AFTER_OPEN if other.open else _AFTER_VALUE

    def _show_motor(self) -> Probe | None:
        """A motor known by elimination alone is read all the same, both ways if need be."""
        wires = self._one_motor()
        if wires is None or self._seen(wires):
            return None
        both = (Probe(self.place, *wires), Probe(self.place, *wires[::-1]))
        return next((p for p in both if p not in self.readings), None)

    def _show_sensor(self) -> Probe | None:
        """A sensor must have read differently by polarity: a broken pot may look like the rest."""
        groups = {p.wires for w in self.alive for p in w if p.kind is Kind.SENSOR}
        if len(groups) == 0 or self._differs(set().union(*groups)):
            return None
        probes = [Probe(self.place, a, b) for g in sorted(groups) for a in g for b in g if a != b]
        open_ones = [p for p in probes if p not in self.readings]
        return min(open_ones, key=self._unlike_finite, default=None)

    def _unlike_finite(self, probe: Probe) -> bool:
        """False, so that it comes first, where the other way round read a value."""
        other = self.readings.get(Probe(probe.place, probe.black, probe.red))
        return other is None or other.open

    def _differs(self, wires: set[int]) -> bool:
        """Whether two of these wires read differently with the probes changed."""
        for probe, reading in self.readings.items():
            other = self.readings.get(Probe(probe.place, probe.black, probe.red))
            if (
                other is not None
                and {probe.red, probe.black} <= wires
                and not alike(reading, other)
            ):
                return True
        return False

    def _by_moving(self) -> Step | None:
        """Other readings need another place of the rod."""
        if self.halted or self.place + 1 >= PLACES:
            return None
        wires = self._one_motor()
        if wires is not None and self._seen(wires):
            return Move(wires)
        return self._by_battery()

    def _by_battery(self) -> Battery | None:
        """Two wires that read open both ways and may be a motor at its end switch."""
        wires = self._one_motor()
        if self.halted or (wires is not None and self._seen(wires)):
            return None
        weights: dict[tuple[int, int], float] = {}
        for wiring, weight in zip(self.alive, self._weights, strict=True):
            pair = _motor_of(wiring)
            if pair is not None and self._open_both_ways(pair):
                weights[pair] = weights.get(pair, 0.0) + float(weight)
        return Battery(max(weights, key=lambda p: weights[p])) if weights else None

    def _open_both_ways(self, pair: tuple[int, int]) -> bool:
        both = (Probe(self.place, *pair), Probe(self.place, *pair[::-1]))
        return all(p in self.readings and self.readings[p].open for p in both)

    def _one_motor(self) -> tuple[int, int] | None:
        pairs = {_motor_of(w) for w in self.alive}
        return pairs.pop() if len(pairs) == 1 else None

    def _seen(self, wires: tuple[int, int]) -> bool:
        """Whether the motor showed itself: some reading that is not open, or it moved the rod."""
        if wires in self.moved_by:
            return True
        return any(not r.open for p, r in self.readings.items() if p.pair == wires)

    # ------------------------------------------------------------ what is known

    def verdict(self) -> Verdict:
        """What all wirings that fit have in common."""
        if not self.alive:
            return Verdict(fits=False)
        roles = [set(r) for r in zip(*(self._roles(w) for w in self.alive), strict=True)]
        motor, pot = self._one_motor(), _only(_part(w, Kind.POT) for w in self.alive)
        track = _only(frozenset(p.wires) if p else None for p in map(_pot_of, self.alive))
        common = set.intersection(*(set(w) for w in self.alive))
        switches = tuple(p.wires for p in sorted_parts(common) if p.kind is Kind.SWITCH)
        spare = [w for w, r in enumerate(roles) if r <= {"spare", "switch"} and "spare" in r]
        sensor = [w for w, r in enumerate(roles) if r == {"sensor"}]
        if sensor and not self._differs(set(sensor)):
            roles = [{"sensor", "broken pot"} if r == {"sensor"} else r for r in roles]
            sensor = []
        placed = {
            *(motor or ()),
            *(track or ()),
            *spare,
            *sensor,
            *(w for s in switches for w in s),
        }
        return Verdict(
            fits=True,
            motor=motor,
            motor_by_elimination=motor is not None and not self._seen(motor),
            pot_ends=(pot.wires[0], pot.wires[1]) if pot else None,
            wiper=pot.wires[2] if pot else None,
            track=tuple(sorted(track)) if track and not pot else (),
            switches=tuple((s[0], s[1]) for s in switches),
            sensor=tuple(sensor),
            spare=tuple(spare),
            open_pairs=any("switch" in roles[w] for w in spare),
            unsure={w: tuple(sorted(r)) for w, r in enumerate(roles) if w not in placed},
        )

    def _roles(self, wiring: Wiring) -> list[str]:
        """A word for each wire; beside a sensor every loose wire counts as the sensor's."""
        loose = "sensor" if _part(wiring, Kind.SENSOR) else "spare"
        roles = [loose] * self.count
        for part in wiring:
            for wire in part.wires:
                roles[wire] = part.kind.name.lower()
        return roles

    # ------------------------------------------------------------ bookkeeping

    def _fitting(self, finite: tuple[int, int] | bool) -> Callable[[Wiring], bool]:
        """Whether a wiring fits; `finite` are two wires that a reading has just joined."""
        known: dict[Part, bool] = {}

        def fits(part: Part) -> bool:
            if part not in known:
                known[part] = part_fits(part, self.readings)
            return known[part]

        def wiring_fits(wiring: Wiring) -> bool:
            joined = not finite or any(set(finite) <= set(p.wires) for p in wiring)  # type: ignore[arg-type]
            return joined and all(fits(part) for part in wiring)

        return wiring_fits

    def _keep(self, fits: Callable[[Wiring], bool]) -> None:
        left = [number for number, wiring in enumerate(self.alive) if fits(wiring)]
        self.alive = [self.alive[number] for number in left]
        self._between, self._weights = self._between[left], self._weights[left]

    def _masses(self) -> np.ndarray:
        """For each pair the weight of each thing that may be between its wires."""
        return np.stack([self._weights @ (self._between == b.value) for b in Between], axis=1)


def _table(known: list[Wiring], pairs: list[tuple[int, int]]) -> np.ndarray:
    """For each wiring what is between each pair of wires, by the number of Between."""
    number = {pair: n for n, pair in enumerate(pairs)}
    table = np.zeros((len(known), len(pairs)), dtype=np.int8)
    for row, wiring in enumerate(known):
        for part in wiring:
            for pair in combinations(sorted(part.wires), 2):
                table[row, number[pair]] = _between(part, pair).value
    return table


def _chances_of(known: list[Wiring], count: int) -> np.ndarray:
    """Rough weight of each wiring: of its kinds of parts, shared by all that have the same."""
    kinds = [tuple((p.kind, len(p.wires)) for p in wiring) for wiring in known]
    sizes = Counter(kinds)
    return np.array([_weight(w, count) / sizes[k] for w, k in zip(known, kinds, strict=True)])


def sorted_parts(parts: Iterable[Part]) -> list[Part]:
    """Parts in the order of their wires."""
    return sorted(parts, key=lambda p: p.wires)


def _information(mass: np.ndarray, chances: np.ndarray) -> float:
    """Bits that the reading is expected to tell about what is between two wires."""
    share = mass / mass.sum()
    return float(_entropy(share @ chances) - share @ _entropy(chances))


def _entropy(chances: np.ndarray) -> np.ndarray:
    safe = np.where(chances > 0.0, chances, 1.0)
    return -(chances * np.log2(safe)).sum(axis=-1)  # type: ignore[no-any-return]


def _weight(wiring: Wiring, count: int) -> float:
    weight = _SPARE ** (count - sum(len(part.wires) for part in wiring))
    for part in wiring:
        weight *= _WEIGHT[part.kind]
    return weight


def _between(part: Part, pair: tuple[int, int]) -> Between:
    if part.kind is Kind.POT:
        return Between.LEG if part.wires[2] in pair else Between.ENDS
    return Between[part.kind.name]


def _key(wiring: Wiring) -> tuple[object, ...]:
    """What the person is told of a wiring: beside a sensor, loose wires are the sensor's too."""
    parts = frozenset(p for p in wiring if p.kind is not Kind.SENSOR)
    return parts, _part(wiring, Kind.SENSOR) is not None


def _part(wiring: Wiring, kind: Kind) -> Part | None:
    return next((p for p in wiring if p.kind is kind), None)


def _pot_of(wiring: Wiring) -> Part | None:
    return _part(wiring, Kind.POT)


def _motor_of(wiring: Wiring) -> tuple[int, int] | None:
    motor = _part(wiring, Kind.MOTOR)
    return (motor.wires[0], motor.wires[1]) if motor else None


def _only(values: Iterable[T]) -> T | None:
    """The one value that all are; None when they differ."""
    seen = set(values)
    return seen.pop() if len(seen) == 1 else None
