"""A motor's figures from steady runs, each with its 95 % interval.

Brushed motor behind gears and screw: V = R I + k v, and force in proportion to current (any
machines textbook: V = I R + Ke w). V is output times supply, v the rod's speed. There is no
constant term: what the current does not explain, the speed does. So R is found even where friction
alone makes the current, and the more surely the larger that is. Copper: 0.393 % per K (IEC 60028).

Short runs are made about one place, where the pot's slope may be a little off; whole ones over all
the way, where its ends hold. The speeds of the short ones are therefore read by a scale of their
own, which the fit finds: k comes from the whole runs, R from all.

Errors are carried through one by one: every reading is moved by its sigma and all is reckoned
anew, so that whatever hangs together (a zero, a scale) moves everything that it touches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, inf, pi, sqrt

import numpy as np

COPPER_PER_K = 0.00393
Z95 = 1.96  # of a normal deviate
WARMING = 0.1  # one sigma of what the winding's resistance may change by during the runs
COOLING = 0.7  # one sigma of the cooling that is believed: the winding's time is a guess
BENDS = 2.0  # a pot's slope is off by more at its ends than in its middle
ROUNDS = 4  # the weights need R and k, which need the weights
WAYS = {1: "extend", -1: "retract"}
Figures = dict[str, float]


@dataclass(frozen=True, slots=True)
class Point:
    """One steady run: means over one stretch of it, and one sigma of each. `way` +1 extends; V, A,
    mm/s, all above 0. `heat` is what the runs before had put into the winding by then, in A2 s,
    `cooled` what of it was lost again, as far as that is known; `whole`: over all the way;
    `scatter_a` moves the current in the friction's line alone."""

    way: int
    output: float
    supply_v: float
    current_a: float
    speed_mm_s: float
    supply_sigma: float
    current_sigma: float
    speed_sigma: float
    heat: float = 0.0
    cooled: float = 0.0
    loaded: bool = False
    whole: bool = False
    scatter_a: float = 0.0

    @property
    def volts(self) -> float:
        """At the bridge's outputs, by the mean over its pulses."""
        return self.output * self.supply_v

    @property
    def group(self) -> tuple[int, bool]:
        """Runs of one group have the same friction."""
        return self.way, self.loaded


@dataclass(frozen=True, slots=True)
class Shared:
    """What all runs have in common, one sigma each: the current's zero in A, what the converter's
    steps leave of it in a group of like currents, and the scales of supply, sensor and speed as
    shares. A `signed` sensor's zero adds one way and takes away the other."""

    zero_a: float = 0.0
    step_a: float = 0.0
    supply_share: float = 0.0
    sensor_share: float = 0.0
    speed_share: float = 0.0
    signed: bool = False


@dataclass(frozen=True, slots=True)
class Runs:
    """All that was measured. `rest_v` is the supply while nothing runs; `force_n` what the loaded
    runs lifted more than the free ones, `turn_mm` the rod's way for one turn of the motor; 0: not
    known. `warming` is what is held likely for the change of R, as a share, `cooling` how much of
    what each run calls cooled is believed."""

    points: tuple[Point, ...]
    rest_v: float
    rest_sigma: float
    shared: Shared = Shared()
    force_n: float = 0.0
    turn_mm: float = 0.0
    warming: float = 0.0
    cooling: float = 1.0

    def group(self, way: int, loaded: bool = False) -> list[Point]:
        """The short runs of one way."""
        return [p for p in self.points if p.group == (way, loaded) and not p.whole]

    def moved(self, change: Callable[[Point], Point]) -> Runs:
        """The same with every run changed."""
        return replace(self, points=tuple(change(p) for p in self.points))


@dataclass(frozen=True, slots=True)
class Value:
    """A figure and half the width of its 95 % interval."""

    best: float
    half: float

    @property
    def share(self) -> float:
        """The half width as a share of the figure."""
        return self.half / abs(self.best) if self.best else inf

    def holds(self, true: float) -> bool:
        """Whether a value lies in the interval."""
        return abs(true - self.best) <= self.half


@dataclass(frozen=True, slots=True)
class Fit:
    """R in ohm at the middle of the runs, k in V per mm/s, the change of R over them in ohm, what a
    speed of the short runs is in truth, and what is left of each run's volts over its sigma."""

    ohm: float
    constant: float
    rise_ohm: float
    scale: float
    residuals: tuple[float, ...]


def fit(runs: Runs) -> Fit:
    """Weighted least squares of V on I and v, sigmas of all three counted (effective variance).

    Raises ValueError when the runs do not tell R from k.
    """
    points = runs.points
    volts = np.array([p.volts for p in points])
    heats = np.array([p.heat - runs.cooling * p.cooled for p in points])
    span = float(np.ptp(heats)) or 1.0
    currents = np.array([p.current_a for p in points])
    speeds = np.array([p.speed_mm_s for p in points])
    whole = np.array([p.whole for p in points])
    columns = np.column_stack(
        [currents, speeds * ~whole, currents * (heats - heats.mean()) / span, speeds * whole]
    )
    ohm, constant = 0.0, 0.0
    for _ in range(ROUNDS):
        sigmas = np.array([_sigma(p, ohm, constant) for p in points])
        found = _weighted(columns, volts, sigmas, runs.warming, WARMING * ohm)
        ohm, constant = float(found[0]), float(found[1])
    true = float(found[3]) if whole.any() else constant
    if not (ohm > 0.0 and constant > 0.0 and true > 0.0):
        raise ValueError("the runs do not tell resistance from speed")
    left = (volts - columns @ found) / sigmas
    return Fit(ohm, true, float(found[2]), constant / true, tuple(left.tolist()))


def _sigma(point: Point, ohm: float, constant: float) -> float:
    """One sigma of V - R I - k v of a run."""
    errors = (point.output * point.supply_sigma, ohm * point.current_sigma)
    return hypot(*errors, constant * point.speed_sigma)


def _weighted(
    columns: np.ndarray, volts: np.ndarray, sigmas: np.ndarray, warming: float, prior: float
) -> np.ndarray:
    """The solution; `prior` is one sigma of the change of R about `warming`, 0: there is none."""
    rows, goal = columns / sigmas[:, None], volts / sigmas
    if prior > 0.0:
        rows = np.vstack([rows, [0.0, 0.0, 1.0 / prior, 0.0]])
        goal = np.append(goal, warming / WARMING)
    else:
        rows = rows * np.array([1.0, 1.0, 0.0, 1.0])
    scale = np.abs(rows).max(axis=0)
    scale[scale == 0.0] = 1.0
    found: np.ndarray = np.linalg.lstsq(rows / scale, goal, rcond=None)[0] / scale
    return found


def line(points: Sequence[Point], value: Callable[[Point], float]) -> tuple[float, float]:
    """Offset and slope of a quantity against speed; slope 0 when all speeds are alike."""
    speeds = np.array([p.speed_mm_s for p in points])
    values = np.array([value(p) for p in points])
    off = speeds - speeds.mean()
    square = float(off @ off)
    slope = float(off @ values) / square if square > 1e-6 * float(speeds @ speeds) else 0.0
    return float(values.mean()) - slope * float(speeds.mean()), slope


def _supply(runs: Runs, drawn: Callable[[Point], float]) -> tuple[float, float]:
    """The supply at rest in V, and what it gives way by: S = S0 - Rs x drawn, weighted."""
    x = np.array([0.0, *(drawn(p) for p in runs.points)])
    y = np.array([runs.rest_v, *(p.supply_v for p in runs.points)])
    w = 1.0 / np.array([runs.rest_sigma, *(p.supply_sigma for p in runs.points)]) ** 2
    mean_x, mean_y = float(w @ x / w.sum()), float(w @ y / w.sum())
    off = x - mean_x
    slope = float((w * off) @ (y - mean_y)) / float((w * off) @ off)
    return mean_y - slope * mean_x, -slope


# ---------------------------------------------------------------- figures


def figures(runs: Runs) -> Figures:
    """All figures by name, units in the names. Raises ValueError as `fit`."""
    found = fit(runs)
    supply_v, source_ohm = _supply(runs, lambda p: p.output * p.current_a)
    whole = found.ohm + source_ohm
    out = {
        "resistance_ohm": found.ohm,
        "constant_v_s_per_mm": found.constant,
        "speed_mm_s_per_v": 1.0 / found.constant,
        "warming_share": found.rise_ohm / found.ohm,
        "supply_v": supply_v,
        "source_ohm": source_ohm,
        "stall_a": supply_v / whole,
        "stall_at_motor_a": supply_v / found.ohm,
    }
    for way, word in WAYS.items():
        current_a, rise = line(runs.group(way), lambda p: p.current_a + p.scatter_a)
        rise /= found.scale
        root = supply_v**2 - 4.0 * source_ohm * found.ohm * current_a**2
        out[f"friction_{word}_a"] = current_a
        out[f"friction_rise_{word}_a_s_per_mm"] = rise
        out[f"dead_zone_{word}"] = 2.0 * found.ohm * current_a / (supply_v + sqrt(max(root, 0.0)))
        fastest = (supply_v - whole * current_a) / (found.constant + whole * rise)
        out[f"full_speed_{word}_mm_s"] = fastest
    if runs.turn_mm:
        out["constant_v_s_per_rad"] = found.constant * runs.turn_mm / (2.0 * pi)
    return out | (_efficiency(runs, found) if runs.force_n else {})


def lifting(runs: Runs) -> int:
    """The way in which the load took more current."""
    return max(WAYS, key=lambda way: _load_a(runs, way))


def _load_a(runs: Runs, way: int) -> float:
    current_a, rise = line(runs.group(way), lambda p: p.current_a + p.scatter_a)
    more = [p.current_a - current_a - rise * p.speed_mm_s for p in runs.group(way, loaded=True)]
    return float(np.mean(more))


def _efficiency(runs: Runs, found: Fit) -> Figures:
    """Of gears and screw: F over (k I), as k in V s/m is also N/A; the motor's turn falls out of
    it. Of the whole: F v over V I, at the loaded run with most output."""
    way = lifting(runs)
    load_a = _load_a(runs, way)
    fast = max(runs.group(way, loaded=True), key=lambda p: p.output)
    if load_a <= 0.0:
        raise ValueError("the load takes no more current in either way")
    power_w = runs.force_n * fast.speed_mm_s * found.scale / 1000.0
    return {
        "load_a": load_a,
        "drive_efficiency": runs.force_n / (1000.0 * found.constant * load_a),
        "whole_efficiency": power_w / (fast.volts * fast.current_a),
    }


def figures_without_current(runs: Runs) -> Figures:
    """What volts and speeds alone tell: V = V0 + slope x v each way. V0 is R times the friction
    current and the slope k with whatever friction grows by; neither can be taken apart."""
    supply_v, sag_v = _supply(runs, lambda p: p.output)
    out = {"supply_v": supply_v, "sag_v": sag_v}
    for way, word in WAYS.items():
        lost_v, slope = line(runs.group(way), lambda p: p.volts + p.scatter_a)
        if slope <= 0.0:
            raise ValueError("the speed does not grow with the volts")
        whole = [p for p in runs.points if p.whole and p.way == way]
        slope /= _scale(whole, lost_v, slope)
        out[f"lost_{word}_v"] = lost_v
        out[f"speed_{word}_mm_s_per_v"] = 1.0 / slope
        out[f"dead_zone_{word}"] = lost_v / supply_v
        out[f"full_speed_{word}_mm_s"] = (supply_v - sag_v - lost_v) / slope
    return out


def _scale(whole: Sequence[Point], lost_v: float, slope: float) -> float:
    """What a speed of the short runs is in truth, by whole runs; 1 without."""
    if not whole:
        return 1.0
    return float(np.mean([p.speed_mm_s * slope / (p.volts - lost_v) for p in whole]))


def pot_scale(runs: Runs) -> float:
    """What a speed of the short runs is in truth. Raises ValueError as `fit`."""
    if any(p.current_a for p in runs.points):
        return fit(runs).scale
    scales = []
    for way in WAYS:
        lost_v, slope = line(runs.group(way), lambda p: p.volts)
        scales.append(_scale([p for p in runs.points if p.whole and p.way == way], lost_v, slope))
    return float(np.mean(scales))


def beyond_share(scale: float, covered: float) -> float:
    """One sigma of k, as a share: what the pot's slope may be off beyond the way that the whole
    runs cover, a share of all, where it is off by twice as much as in the middle."""
    return BENDS * abs(scale - 1.0) * (1.0 - covered) / covered


# ---------------------------------------------------------------- errors


def values(runs: Runs, reckon: Callable[[Runs], Figures] = figures) -> dict[str, Value]:
    """Each figure with its interval. Raises ValueError as `reckon`."""
    base = reckon(runs)
    excess = _excess(runs) if reckon is figures else 1.0
    square = dict.fromkeys(base, 0.0)
    for moved, random in _moved(runs, reckon):
        there = reckon(moved)
        for name, best in base.items():
            square[name] += (there[name] - best) ** 2 * (excess if random else 1.0)
    return {name: Value(best, Z95 * sqrt(square[name])) for name, best in base.items()}


def _excess(runs: Runs) -> float:
    """By how much the runs scatter more about the fit than their sigmas say; at least 1."""
    left = fit(runs).residuals
    freedom = len(left) - 3
    return max(1.0, sum(r * r for r in left) / freedom) if freedom > 0 else 1.0


def _moved(runs: Runs, reckon: Callable[[Runs], Figures]) -> Iterator[tuple[Runs, bool]]:
    """The runs with one reading moved by its sigma; whether it is a reading of one run alone."""
    scatter = _scatter(runs, reckon)
    for at, point in enumerate(runs.points):
        for one in _moved_point(point, scatter[point.group]):
            yield replace(runs, points=(*runs.points[:at], one, *runs.points[at + 1 :])), True
    yield replace(runs, rest_v=runs.rest_v + runs.rest_sigma), True
    yield replace(runs, warming=runs.warming + WARMING), False
    yield replace(runs, cooling=runs.cooling + COOLING), False
    for change in _shared(runs):
        yield runs.moved(change), False
    scale = 1.0 + runs.shared.supply_share
    scaled = runs.moved(lambda p: replace(p, supply_v=p.supply_v * scale))
    yield replace(scaled, rest_v=runs.rest_v * scale), False


def _moved_point(point: Point, scatter: float) -> Iterator[Point]:
    yield replace(point, supply_v=point.supply_v + point.supply_sigma)
    yield replace(point, current_a=point.current_a + point.current_sigma)
    yield replace(point, speed_mm_s=point.speed_mm_s + point.speed_sigma)
    yield replace(point, scatter_a=scatter)


def _scatter(runs: Runs, reckon: Callable[[Runs], Figures]) -> dict[tuple[int, bool], float]:
    """How far the runs of a group lie off their own line, rms beyond their sigmas: friction is not
    the same in every run."""
    with_current = reckon is figures
    found = {}
    for group in {p.group for p in runs.points}:
        own = runs.group(*group)

        def value(p: Point) -> float:
            return p.current_a if with_current else p.volts

        offset, slope = line(own, value)
        square = sum((value(p) - offset - slope * p.speed_mm_s) ** 2 for p in own)
        known = sum(_known(p, slope, with_current) ** 2 for p in own) / len(own)
        mean = square / (len(own) - 2) if len(own) > 2 else 0.0
        found[group] = sqrt(max(0.0, mean - known))
    return found


def _known(point: Point, slope: float, with_current: bool) -> float:
    """What the sigmas of a run let it lie off the line of its group."""
    own = point.current_sigma if with_current else point.output * point.supply_sigma
    return hypot(own, slope * point.speed_sigma)


def _shared(runs: Runs) -> Iterator[Callable[[Point], Point]]:
    shared = runs.shared

    def zero(p: Point) -> Point:
        return replace(p, current_a=p.current_a + shared.zero_a * (p.way if shared.signed else 1))

    def sensor(p: Point) -> Point:
        return replace(p, current_a=p.current_a * (1.0 + shared.sensor_share))

    any_whole = any(p.whole for p in runs.points)

    def speed(p: Point) -> Point:
        share = shared.speed_share * (p.whole or not any_whole)
        return replace(p, speed_mm_s=p.speed_mm_s * (1.0 + share))

    yield zero
    yield sensor
    yield speed
    for group in {p.group for p in runs.points}:

        def step(p: Point, group: tuple[int, bool] = group) -> Point:
            return replace(p, current_a=p.current_a + shared.step_a * (p.group == group))

        yield step


def step_error(noise: float) -> float:
    """Rms of what averaging leaves of a converter's steps, in steps, by its noise (rms, steps).

    The mean over noise of the saw tooth of rounding is a sum of sines, each smaller by
    exp(-2 (pi k s)^2) (Widrow and Kollar, Quantization Noise); without noise it is 1/sqrt(12).
    """
    parts = (exp(-2.0 * (pi * k * noise) ** 2) / (pi * k) for k in range(1, 60))
    return sqrt(sum(part * part for part in parts) / 2.0)


def kelvin(share: float) -> float:
    """K that change the resistance of copper by a share, near 20 C."""
    return share / COPPER_PER_K
