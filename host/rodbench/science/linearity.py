"""How straight a pot is: the lines that its makers judge by, and the best bent line of few pieces.

The deviation from a line is in % of the voltage across the pot (common practice of pot makers).
Terminal linearity: the greatest deviation from the line through the outputs at both ends.
Independent linearity: the greatest deviation from that line whose slope and offset make it least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rodbench.science.line import Line, fit_line
from rodbench.science.students import quantile

NORMAL_95 = 1.96


@dataclass(frozen=True, slots=True)
class Straightness:
    """Three lines through the same readings, and the greatest deviation from each, in y's unit."""

    least_squares: Line
    least_squares_worst: float
    terminal_worst: float
    independent_offset: float
    independent_slope: float
    independent: float


def straightness(x: Sequence[float], y: Sequence[float]) -> Straightness:
    """All three lines. The first and the last reading, by x, are the terminal line's."""
    fitted = fit_line(x, y)
    offset, slope, worst = least_worst_line(x, y)
    return Straightness(
        fitted,
        _worst(x, y, fitted.offset, fitted.slope),
        _terminal(x, y),
        offset,
        slope,
        worst,
    )


@dataclass(frozen=True, slots=True)
class Unsure:
    """Half widths of 95 % intervals of the greatest deviations from the three lines."""

    least_squares: float
    terminal: float
    independent: float


def unsure(x: Sequence[float], y: Sequence[float], own: float, common: float) -> Unsure:
    """How sure the three are: `own` is the half width of each reading between the first and the
    last, which are where the ends were found, `common` that of what moves all of these together.

    Each is moved up and down by it and all is reckoned anew (JCGM 100:2008, 5.1.3, note 2): a line
    that may turn follows the readings, so it takes a part of their errors along.
    """
    ys = np.asarray(y, dtype=float)
    inner = np.ones(ys.size)
    inner[[0, -1]] = 0.0
    moves = [common * inner, *(own * np.diag(inner))]
    each = [(_three(x, ys + move) - _three(x, ys - move)) / 2.0 for move in moves if move.any()]
    return (
        Unsure(*map(float, np.sqrt(np.sum(np.square(each), axis=0)))) if each else Unsure(0, 0, 0)
    )


def _three(x: Sequence[float], y: np.ndarray) -> np.ndarray:
    found = straightness(x, y.tolist())
    return np.array([found.least_squares_worst, found.terminal_worst, found.independent])


def least_worst_line(x: Sequence[float], y: Sequence[float]) -> tuple[float, float, float]:
    """(offset, slope, greatest deviation) of the line that makes its greatest deviation least.

    The readings lie in a strip of least height, which has two of them on one border and one on the
    other (Chebyshev's alternation): one of the slopes between two readings is the line's. Raises
    ValueError where all x are equal.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    first, second = np.triu_indices(xs.size, 1)
    apart = xs[second] != xs[first]
    if not apart.any():
        raise ValueError("all x are equal")
    first, second = first[apart], second[apart]
    slopes = (ys[second] - ys[first]) / (xs[second] - xs[first])
    heights = [float(np.ptp(ys - slope * xs)) for slope in slopes]
    best = int(np.argmin(heights))
    left = ys - slopes[best] * xs
    offset = (float(left.max()) + float(left.min())) / 2.0
    return offset, float(slopes[best]), heights[best] / 2.0


def _terminal(x: Sequence[float], y: Sequence[float]) -> float:
    order = np.argsort(x)
    low, high = order[0], order[-1]
    slope = (y[high] - y[low]) / (x[high] - x[low])
    return _worst(x, y, y[low] - slope * x[low], slope)


def _worst(x: Sequence[float], y: Sequence[float], offset: float, slope: float) -> float:
    return float(np.abs(np.asarray(y) - offset - slope * np.asarray(x)).max())


# ------------------------------------------------------------------ a bent line of a few pieces


def bent(knots: Sequence[tuple[float, float]], at: Sequence[float]) -> np.ndarray:
    """The bent line through `knots` (in order of x) at some x."""
    return np.interp(at, [x for x, _ in knots], [y for _, y in knots])


def best_knots(
    points: Sequence[tuple[float, float]], most: int, enough: float = 0.0
) -> list[tuple[float, float]]:
    """Which of `points`, both ends aside, a bent line goes through so that the others lie least far
    from it at worst: at most `most`, and no more of them than bring that below `enough`.

    By Bellman's recursion over the last knot (Bellman and Roth, Curve fitting by segmented straight
    lines, 1969), with the knots on readings: exact for these.
    """
    n = len(points)
    cost = [[_off(points[i : j + 1]) for j in range(n)] for i in range(n)]
    worst = cost[0][:]
    paths: list[list[int]] = [[0, j] for j in range(n)]
    for _ in range(min(most, n - 2)):
        if worst[-1] <= enough:
            break
        new, ways = worst[:], paths[:]
        for j in range(2, n):
            for i in range(1, j):
                through = max(worst[i], cost[i][j])
                if through < new[j]:
                    new[j], ways[j] = through, [*paths[i], j]
        worst, paths = new, ways
    return [points[i] for i in paths[-1][1:-1]]


def _off(piece: Sequence[tuple[float, float]]) -> float:
    """How far off the line from its first to its last point a piece's others lie at worst."""
    if len(piece) < 3:
        return 0.0
    ends = (piece[0], piece[-1])
    seen = bent(ends, [x for x, _ in piece])
    return float(np.abs(seen - [y for _, y in piece]).max())


def between_readings(points: Sequence[tuple[float, float]]) -> float:
    """How far off a bent line through all of them is between two, at worst, by the readings alone:
    one left out lies off by what the line bends over twice the distance, so by four times as much.
    """
    left_out = [_off(points[n - 1 : n + 2]) for n in range(1, len(points) - 1)]
    return max(left_out, default=0.0) / 4.0


# ------------------------------------------------------------------ readings taken both ways


@dataclass(frozen=True, slots=True)
class Stop:
    """One place, read several times from either side: what the pot's reading says too little of
    the position, in mm, extending and retracting."""

    out: Sequence[float]
    back: Sequence[float]

    @property
    def mean(self) -> float:
        """Between both ways."""
        return (float(np.mean(self.out)) + float(np.mean(self.back))) / 2.0

    @property
    def play(self) -> float:
        """The pot lags: extending it shows too little, retracting too much."""
        return float(np.mean(self.out)) - float(np.mean(self.back))


@dataclass(frozen=True, slots=True)
class Scatter:
    """What stops say together, mm. `repeat` is one sigma of a single reading about its place and
    way; the others are half widths of 95 % intervals: `own` of a stop's mean, `common` of what
    moves all of them together."""

    repeat: float
    repeat_low: float
    repeat_high: float
    own: float
    common: float
    play: float
    play_error: float

    @property
    def mean(self) -> float:
        """Of one stop's mean, in all."""
        return float(np.hypot(self.own, self.common))


def scatter(stops: Sequence[Stop], fixed: float, common: float) -> Scatter:
    """Repeatability, backlash, and how sure a stop's mean is.

    `fixed` is one sigma of what comes out the same at each visit of a place (steps of the
    converter), `common` of what is the same everywhere (where the ruler begins). Both are added to
    what repetition shows, as in the GUM (JCGM 100:2008, 5.1.2 and G.4). Needs two visits of a way.
    """
    groups = [np.asarray(way, dtype=float) for stop in stops for way in (stop.out, stop.back)]
    freedom = sum(group.size - 1 for group in groups)
    if freedom < 1:
        raise ValueError("repeatability needs two visits of a place from the same side")
    variance = sum(float(((g - g.mean()) ** 2).sum()) for g in groups) / freedom
    visits = float(np.mean([group.size for group in groups]))
    t = quantile(0.05, freedom)
    each_play = 2.0 * variance / visits + 2.0 * fixed**2
    play_t = max(t, NORMAL_95)
    low, high = chi_bounds(freedom)
    return Scatter(
        repeat=variance**0.5,
        repeat_low=(variance * freedom / high) ** 0.5,
        repeat_high=(variance * freedom / low) ** 0.5,
        own=(t * t * variance / (2.0 * visits) + NORMAL_95**2 * fixed**2) ** 0.5,
        common=NORMAL_95 * common,
        play=float(np.mean([stop.play for stop in stops])),
        play_error=play_t * (each_play / len(stops)) ** 0.5,
    )


def chi_bounds(freedom: int) -> tuple[float, float]:
    """2.5 % and 97.5 % of chi squared (Wilson and Hilferty, 1931: 3 % off at worst from six
    degrees of freedom on)."""
    part = 2.0 / (9.0 * freedom)
    low, high = (
        freedom * max(1.0 - part + z * part**0.5, 0.1) ** 3 for z in (-NORMAL_95, NORMAL_95)
    )
    return low, high


def rises(knots: Sequence[tuple[float, float]]) -> bool:
    """Whether knots rise in both, strictly."""
    return all(a < c and b < d for (a, b), (c, d) in pairwise(knots))
