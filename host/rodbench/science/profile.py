"""Current against position, by bins of mm: where a rod runs heavier than it did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean

import numpy as np

from .stroke_figures import Recorded
from .students import quantile
from .taken import WAYS, Floats, Taken, of_way, settled

BINS, LEAST_BINS, LEAST_BIN_MM = 30, 6, 1.0
BIND_SHARE = 0.015  # of the mean current: the least bump that deserves a word
MAD = 1.4826  # sigma over the median deviation, of normal scatter


@dataclass(frozen=True, slots=True)
class Profile:
    """Edges of the bins in mm, mean currents in A by way (+1, -1) of both runs, and the change
    against the rest of the way, both ways together, with the limit beyond which it counts."""

    edges_mm: Floats
    baseline_a: dict[int, Floats]
    later_a: dict[int, Floats]
    local_a: Floats
    limit_a: float


@dataclass(frozen=True, slots=True)
class Bump:
    """A stretch where the current rose (or fell) against the rest: mm, A, and as a share of the
    baseline's current there."""

    from_mm: float
    to_mm: float
    at_mm: float
    change_a: float
    share: float


def edges_of(runs: Sequence[Recorded]) -> Floats | None:
    """Bins over the way that all runs have in common; None: there is too little of it."""
    places = [run.position_mm[settled(run)] for run in runs]
    if not places or any(place.size < LEAST_BINS * 2 for place in places):
        return None
    low, high = max(p.min() for p in places), min(p.max() for p in places)
    count = int(min(BINS, (high - low) / LEAST_BIN_MM))
    return np.linspace(low, high, count + 1) if count >= LEAST_BINS else None


def binned(stroke: Recorded, edges: Floats) -> Floats:
    """Mean current in A of each bin; a bin without a reading takes its neighbours'."""
    chosen, count = settled(stroke), len(edges) - 1
    place, current = stroke.position_mm[chosen], stroke.current_a[chosen]
    inside = (place >= edges[0]) & (place <= edges[-1])
    number = np.clip(np.digitize(place[inside], edges) - 1, 0, count - 1)
    readings = np.bincount(number, minlength=count)
    total = np.bincount(number, weights=current[inside], minlength=count)
    filled = readings > 0
    return np.interp(np.arange(count), np.flatnonzero(filled), total[filled] / readings[filled])


def profile(baseline: Taken, later: Taken, edges: Floats, share: float) -> Profile:
    """Lay one over the other. `share`: how often, of all such bins, one may be wrong by chance."""
    tables = {way: [_table(taken, way, edges) for taken in (baseline, later)] for way in WAYS}
    local, variance, freedom = [], 0.0, 0.0
    for before, after in tables.values():
        local.append(_aside(before.mean(axis=0), after.mean(axis=0)))
        sigma, free = _scatter([before, after], local[-1])
        variance += sigma**2 * (1 / len(before) + 1 / len(after)) / 4.0
        freedom += free
    usual = fmean(float(before.mean()) for before, _ in tables.values())
    limit = quantile(share / (len(edges) - 1), freedom) * sqrt(variance) + BIND_SHARE * usual
    means = [{way: pair[i].mean(axis=0) for way, pair in tables.items()} for i in (0, 1)]
    return Profile(edges, means[0], means[1], (local[0] + local[1]) / 2.0, limit)


def bumps(found: Profile) -> list[Bump]:
    """Stretches of neighbouring bins beyond the limit, with the same sign."""
    signs = np.where(np.abs(found.local_a) > found.limit_a, np.sign(found.local_a), 0.0)
    told, start = [], 0
    for end in range(1, len(signs) + 1):
        if end < len(signs) and signs[end] == signs[start]:
            continue
        if signs[start]:
            told.append(_bump(found, start, end))
        start = end
    return told


def _table(taken: Taken, way: int, edges: Floats) -> Floats:
    return np.array([binned(run, edges) for run in of_way(taken.runs, way)])


def _aside(before: Floats, after: Floats) -> Floats:
    """What is left of a change when the same on the whole way is taken off: the same amps (more
    friction), or the same share (weaker magnets, under a load that grows on the way), whichever
    leaves less on most of the way."""
    amps = after - before - np.median(after - before)
    share = after - before * np.median(after / np.maximum(before, 1e-6))
    left = [float(np.median(np.abs(each - np.median(each)))) for each in (amps, share)]
    chosen = amps if left[0] <= left[1] else share
    return np.asarray(chosen - np.median(chosen))


def _scatter(tables: Sequence[Floats], change: Floats) -> tuple[float, float]:
    """Scatter of one bin of one run, its run's level aside, and how many freedoms it is from."""
    square, freedom = 0.0, 0.0
    for table in tables:
        left = table - table.mean(axis=0) - table.mean(axis=1, keepdims=True) + table.mean()
        square += float((left**2).sum())
        freedom += (table.shape[0] - 1) * (table.shape[1] - 1)
    if freedom:
        return sqrt(square / freedom), freedom
    # One run each way only: from the change itself, by its median so that a bump does not count.
    sigma = MAD * float(np.median(np.abs(change - np.median(change)))) / sqrt(2.0)
    return sigma, len(change) / 2.0


def _bump(found: Profile, start: int, end: int) -> Bump:
    edges, local = found.edges_mm, found.local_a[start:end]
    middles = (edges[start:end] + edges[start + 1 : end + 1]) / 2.0
    usual = fmean(float(a[start:end].mean()) for a in found.baseline_a.values())
    change = float(local[np.argmax(np.abs(local))])
    at = float((middles * local).sum() / local.sum())
    return Bump(float(edges[start]), float(edges[end]), at, change, change / usual)
