"""A motor's and its supply's constants from the strokes of a proof, and how they changed.

V = I R + K w (any machines textbook), from runs at two outputs: at nearly one current their
difference gives K alone, so a warmer winding, which is in R, does not disturb it. The supply's own
resistance is its sag over the current drawn, I times the share of the output.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt

import numpy as np

from .line import fit_line
from .stroke_figures import Recorded, sag_v
from .students import quantile
from .taken import WAYS, Floats, Look, Taken, paired, scatter_of_mean, settled, word

MAGNET_SHARE = 0.04  # of the constant; warm magnets of ferrite are 0.2 % weaker for each K
SPEED_SHARE = 0.03
WARM_SHARE = 0.1  # of the resistance: a winding 25 K warmer
SOURCE_STEPS = 0.3  # of the supply's converter step: how even its steps are taken to be
TWO_SPEEDS = 1.25  # fast over slow: below, the constants cannot be told apart
LEAST_ROWS, LEAST_STROKES = 8, 3
LEAST_POINTS = 5  # for three unknowns


@dataclass(frozen=True, slots=True)
class Points:
    """Means of each slow and fast run over the stretch that all have in common; `heat` is what
    the strokes before it put into each ohm, as a share of the whole."""

    volts: Floats
    amps: Floats
    speed: Floats
    heat: Floats

    @property
    def known(self) -> Floats:
        """Columns of the fit: R, K, and how much R grew by the strokes' own heat."""
        return np.column_stack((self.amps, self.speed, self.amps * self.heat))


def points(taken: Taken, low: float, high: float) -> Points | None:
    """None: the runs are too few, too short or too much alike to tell the constants apart."""
    rows = [point(run, low, high) for run in (*taken.slows, *taken.runs)]
    table = np.array([row for row in rows if row is not None])
    slow = len(taken.slows)
    if len(table) < len(rows) or not slow or len(rows) < LEAST_POINTS:
        return None
    ways = np.array([run.way for run in (*taken.slows, *taken.runs)])
    for way in WAYS:
        fast_ones, slow_ones = (
            table[slow:, 2][ways[slow:] == way],
            table[:slow, 2][ways[:slow] == way],
        )
        if not fast_ones.size or not slow_ones.size:
            return None
        if fast_ones.min() < TWO_SPEEDS * slow_ones.max():
            return None
    return Points(table[:, 0], table[:, 1], table[:, 2], _heat(taken, low, high))


def _in_order(taken: Taken) -> list[Recorded]:
    """As a proof makes them: the slow runs between two halves of the fast ones, so that the motor
    is as warm in them as in the others on the average."""
    half = 2 * ((len(taken.runs) // 2 + 1) // 2)
    return [*taken.moves, *taken.runs[:half], *taken.slows, *taken.runs[half:]]


def _heat(taken: Taken, low: float, high: float) -> Floats:
    """A2 s until the middle of the stretch, of each slow and fast run, as a share of all."""
    sums, at = 0.0, {}
    for stroke in _in_order(taken):
        square = np.where(stroke.on, stroke.current_a**2, 0.0)
        inside = settled(stroke) & (stroke.position_mm >= low) & (stroke.position_mm <= high)
        middle = float(stroke.t_s[inside].mean()) if inside.any() else inf
        at[id(stroke)] = sums + float(square[stroke.t_s <= middle].sum())
        sums += float(square.sum())
    return np.array([at[id(run)] for run in (*taken.slows, *taken.runs)]) / max(sums, 1e-9)


def stretch(*runs: Taken) -> tuple[float, float]:
    """The way that all slow and fast runs have in common, in mm; crosswise when there is none."""
    places = [r.position_mm[settled(r)] for taken in runs for r in (*taken.slows, *taken.runs)]
    if not places or any(place.size < LEAST_ROWS for place in places):
        return inf, -inf
    return max(float(p.min()) for p in places), min(float(p.max()) for p in places)


def point(run: Recorded, low: float, high: float) -> tuple[float, float, float] | None:
    """Volts at the motor, current and speed over a stretch; None: too short to tell."""
    chosen = settled(run) & (run.position_mm >= low) & (run.position_mm <= high)
    chosen &= np.isfinite(run.supply_v)
    if int(chosen.sum()) < LEAST_ROWS:
        return None
    volts = np.abs(run.output_permille[chosen]) / 1000.0 * run.supply_v[chosen]
    line = fit_line(run.t_s[chosen].tolist(), run.position_mm[chosen].tolist())
    return float(volts.mean()), float(run.current_a[chosen].mean()), abs(line.slope)


@dataclass(frozen=True, slots=True)
class Constants:
    """R in ohm, K in V s/mm, and by how many ohm R grew on the way."""

    resistance_ohm: float
    constant_v_s_per_mm: float
    grown_ohm: float

    @property
    def solved(self) -> Floats:
        """In the order of the fit's columns."""
        return np.array([self.resistance_ohm, self.constant_v_s_per_mm, self.grown_ohm])


def fit(before: Points) -> Constants:
    """Least squares through the points."""
    ohm, constant, grown = np.linalg.lstsq(before.known, before.volts, rcond=None)[0]
    return Constants(float(ohm), float(constant), float(grown))


def constant_look(before: Points, after: Points, share: float) -> Look | None:
    """K of both. What the baseline's points leave over is taken off the later ones, which are of
    the same strokes: what is left then is the scatter. None: they are not the same strokes."""
    if len(before.volts) != len(after.volts):
        return None
    found = fit(before)
    pattern = before.volts - before.known @ found.solved
    inverse = np.linalg.pinv(after.known.T @ after.known)
    solved = inverse @ after.known.T @ (after.volts - pattern)
    left = after.volts - pattern - after.known @ solved
    freedom = float(len(left) - after.known.shape[1])
    error = sqrt(float(left @ left) / freedom * float(inverse[1, 1]))
    limit = quantile(share, freedom) * error + MAGNET_SHARE * found.constant_v_s_per_mm
    constants = found.constant_v_s_per_mm, float(solved[1])
    return Look("motor constant", "V s/mm", *constants, error, limit)


def speed_looks(baseline: Taken, later: Taken, motor: Constants | None, share: float) -> list[Look]:
    """Speed of the fast runs, the later one's brought to the baseline's supply."""
    volts = _values(baseline, later, 0)
    amps, speed = _values(baseline, later, 1), _values(baseline, later, 2)
    changes, looks = {}, []
    for way, (first, second) in speed.items():
        per_volt = 1.0 / motor.constant_v_s_per_mm if motor else first / volts[way][0]
        changes[way] = second + (volts[way][0] - volts[way][1]) * per_volt - first
    error, freedom = scatter_of_mean([c / speed[w][0].mean() for w, c in changes.items()])
    for way, change in changes.items():
        usual, drawn = float(speed[way][0].mean()), float(amps[way][0].mean())
        # A warmer winding takes more of the volts, and is no change of the rod.
        heat = motor.resistance_ohm * drawn / motor.constant_v_s_per_mm if motor else 0.1 * usual
        limit = (quantile(share, freedom) * error + SPEED_SHARE) * usual + WARM_SHARE * heat
        later_mean = usual + float(change.mean())
        looks.append(Look(f"speed {word(way)}", "mm/s", usual, later_mean, error * usual, limit))
    return looks


def _values(baseline: Taken, later: Taken, column: int) -> dict[int, tuple[Floats, Floats]]:
    """Volts, current or speed of the fast runs in pairs, by way."""

    def value(run: Recorded) -> float:
        found = point(run, -inf, inf)
        return float("nan") if found is None else found[column]

    pairs = paired(baseline.runs, later.runs, value)
    kept = {way: (a, b) for way, a, b in pairs}
    return {way: (a, b) for way, (a, b) in kept.items() if np.isfinite([a, b]).all()}


def source_look(baseline: Taken, later: Taken, share: float) -> Look | None:
    """Ohms between the supply's own volts and the board; None: nothing was drawn."""
    found = [_source(taken) for taken in (baseline, later)]
    before, after = found
    if before is None or after is None:
        return None
    error = hypot(before.error, after.error)
    steps = SOURCE_STEPS * max(baseline.supply_step_v, later.supply_step_v)
    least = steps * (1.0 / before.drawn_a + 1.0 / after.drawn_a) / 2.0
    limit = quantile(share, before.freedom + after.freedom) * error + least
    return Look("source resistance", "ohm", before.ohm, after.ohm, error, limit)


@dataclass(frozen=True, slots=True)
class _Source:
    ohm: float
    error: float
    drawn_a: float  # rms over the strokes
    freedom: float


def _source(taken: Taken) -> _Source | None:
    told = [_sagged(stroke) for stroke in (*taken.moves, *taken.runs, *taken.slows)]
    pairs = [pair for pair in told if pair is not None]
    if len(pairs) < LEAST_STROKES:
        return None
    drawn, sags = np.array(pairs).T
    square = float(drawn @ drawn)
    if square <= 0.0:
        return None
    ohm = float(drawn @ sags) / square
    left = sags - ohm * drawn
    freedom = len(pairs) - 1.0
    error = sqrt(float(left @ left) / freedom / square)
    return _Source(ohm, error, sqrt(square / len(pairs)), freedom)


def _sagged(stroke: Recorded) -> tuple[float, float] | None:
    """Current drawn from the supply, and how far it sagged."""
    steady = stroke.steady()
    sag = sag_v(stroke, steady)
    if sag is None:
        return None
    share = np.abs(stroke.output_permille[steady]) / 1000.0
    return float((share * stroke.current_a[steady]).mean()), sag


def looks(
    baseline: Taken, later: Taken, share: float, *, current: bool
) -> tuple[Sequence[Look], Constants | None]:
    """All looks of this page, and the baseline's motor; None where it could not be told."""
    low, high = stretch(baseline, later)
    pair = [points(taken, low, high) if current else None for taken in (baseline, later)]
    motor = fit(pair[0]) if pair[0] is not None else None
    found = []
    if pair[0] is not None and pair[1] is not None:
        found.append(constant_look(pair[0], pair[1], share))
    found += speed_looks(baseline, later, motor, share)
    if current:
        found.append(source_look(baseline, later, share))
    return [look for look in found if look is not None], motor
