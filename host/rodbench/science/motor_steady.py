"""One steady run's readings made into a point: means of speed, current and supply over a stretch.

A speed from places is a sum of c x place with the c adding up to 0; by parts it is the mean of the
speeds on the way, each weighted by the sum of the c that follow. Current and supply are averaged by
the same weights, so that V = R I + k v holds for the means even where the load changes on the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt

import numpy as np

from .motor_fit import Point

LEAST = 12  # readings below which a stretch tells nothing
ENDS = 0.05  # of a whole stretch, averaged at either end
TREND = 3  # degree of what is taken for motion, not noise


@dataclass(frozen=True, slots=True)
class Stretch:
    """Readings at one output: times in s with places in mm and currents in A, and the supply's own
    times with its V."""

    way: int
    output: float
    times_s: Sequence[float]
    mm: Sequence[float]
    current_a: Sequence[float]
    supply_times_s: Sequence[float]
    supply_v: Sequence[float]


def point(
    run: Stretch, *, zero_a: float, least_supply_v: float, least_a: float, whole: bool = False
) -> Point:
    """The point of a run; `zero_a` is what the sensor tells at no current, the least sigmas are
    those of one reading. `whole`: the speed from end to end of the stretch, each part of the way
    counting alike; else the slope of the line, which is sharper. Raises ValueError when the stretch
    is too short.
    """
    times = np.asarray(run.times_s, dtype=float)
    if times.size < LEAST or len(run.supply_v) < 2:
        raise ValueError("the run is too short to measure a speed")
    mm = np.asarray(run.mm, dtype=float)
    share = _from_ends(times) if whole else _by_line(times)
    speed = float(share @ (mm - mm.mean())) * run.way
    if speed <= 0.0:
        raise ValueError("the rod did not move the way it was driven")
    after = share.sum() - np.cumsum(share)
    weights = (times, after + share / 2.0)
    current, current_sigma = _mean(times, run.current_a, weights, least_a)
    supply, supply_sigma = _mean(run.supply_times_s, run.supply_v, weights, least_supply_v)
    return Point(
        way=run.way,
        output=run.output,
        supply_v=supply,
        current_a=current - zero_a,
        speed_mm_s=speed,
        supply_sigma=supply_sigma,
        current_sigma=current_sigma,
        speed_sigma=noise(times, mm) * sqrt(float(share @ share)),
        whole=whole,
    )


def about_middle(places: Sequence[tuple[float, float]], middle_mm: float) -> tuple[float, float]:
    """From when to when of (time, place) the middle of the way lies in the middle of the time: all
    of it where that is outside. Where a load changes along the way, fast runs whose middle lies
    further on than that of slow ones would show its change as friction that grows with speed."""
    times, mm = np.array(places, dtype=float).reshape(-1, 2).T
    whole = (-inf, inf)
    if times.size < LEAST or not np.ptp(times):
        return whole
    slope, offset = np.polyfit(times, mm, 1)
    at = (middle_mm - offset) / slope if slope else inf
    reach = min(at - times[0], times[-1] - at)
    return (float(at - reach), float(at + reach)) if reach > 0.0 else whole


def _by_line(times: np.ndarray) -> np.ndarray:
    off = times - times.mean()
    found: np.ndarray = off / float(off @ off)
    return found


def _from_ends(times: np.ndarray) -> np.ndarray:
    """The mean of the last readings less that of the first, over the time between."""
    count = max(2, round(ENDS * times.size))
    found = np.zeros(times.size)
    found[:count], found[-count:] = -1.0 / count, 1.0 / count
    return found / float(found @ times)


def _mean(
    times_s: Sequence[float] | np.ndarray,
    values: Sequence[float],
    weights: tuple[np.ndarray, np.ndarray],
    least: float,
) -> tuple[float, float]:
    """Mean by weights (at times), and its sigma from the readings' own noise."""
    times, readings = np.asarray(times_s, dtype=float), np.asarray(values, dtype=float)
    share = np.clip(np.interp(times, *weights), 1e-12, None)
    share /= share.sum()
    one = max(noise(times, readings), least)
    return float(share @ readings), one * sqrt(float(share @ share))


def noise(times: np.ndarray, values: np.ndarray) -> float:
    """Rms of readings about a smooth trend of theirs."""
    degree = min(TREND, values.size - 2)
    if degree < 0:
        return 0.0
    middle = times.mean()
    share = (times - middle) / (float(np.ptp(times)) or 1.0)
    left = values - np.polyval(np.polyfit(share, values, degree), share)
    return sqrt(float(left @ left) / max(1, values.size - degree - 1))


def zero_error(code: float, step_a: float, error_a: float) -> tuple[float, float]:
    """(shift, sigma) in A of a sensor's zero that was read as `code` steps at no current.

    A converter cannot read below 0: a zero within its first step may in truth lie half a step
    lower than it reads, by which all other currents are read too low.
    """
    if code >= 1.0:
        return 0.0, error_a
    room = code + 0.5
    return -room / 2.0 * step_a, hypot(error_a, room / sqrt(12.0) * step_a)


def unloaded(share: float, load: float) -> float:
    """Where a wiper stands on its track, by the share of the reference that it reads: a resistor to
    ground loads the track, `load` times smaller than which is the track itself.

    y = x / (1 + x (1 - x) load) (divider with a source of R x (1 - x), Thevenin), turned round.
    """
    place = share
    for _ in range(4):
        place = share * (1.0 + place * (1.0 - place) * load)
    return place


def loaded_slope(one: float, other: float, low: float, high: float, load: float) -> float:
    """How much more a loaded track tells of the way between two places than of that between its
    ends, to which it is calibrated; places as shares of the track."""

    def told(place: float) -> float:
        return place / (1.0 + place * (1.0 - place) * load)

    part = (told(other) - told(one)) / (other - one)
    return part * (high - low) / (told(high) - told(low))


def current_noise(run: Stretch) -> float:
    """Rms of the current's readings about their trend, A."""
    return noise(np.asarray(run.times_s), np.asarray(run.current_a))
