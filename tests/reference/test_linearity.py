"""Linearity as pot makers define it, worked by hand, and the least-worst line against scipy.

Sources: the definitions of absolute, independent, zero-based and terminal-based linearity as pot
makers' guides give them (deviation in % of the applied voltage); both examples were worked by hand.
"""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from rodbench.science.linearity import (
    Stop,
    bent,
    best_knots,
    between_readings,
    chi_bounds,
    least_worst_line,
    scatter,
    straightness,
    unsure,
)
from scipy.optimize import linprog
from scipy.stats import chi2

X = [0.0, 25.0, 50.0, 75.0, 100.0]


def test_first_example() -> None:
    found = straightness(X, [0.0, 25.6, 50.8, 75.5, 100.0])
    assert found.terminal_worst == pytest.approx(0.8, abs=1e-12)
    assert found.independent == pytest.approx(0.4, abs=1e-12)
    assert found.independent_offset == pytest.approx(0.4, abs=1e-12)
    assert found.independent_slope == pytest.approx(1.0, abs=1e-12)
    assert found.least_squares.slope == pytest.approx(0.9996, abs=1e-12)
    assert found.least_squares.offset == pytest.approx(0.400, abs=1e-12)
    assert found.least_squares_worst == pytest.approx(0.42, abs=1e-12)


def test_second_example() -> None:
    found = straightness(X, [0.0, 25.9, 50.4, 74.8, 100.0])
    assert found.terminal_worst == pytest.approx(0.9, abs=1e-12)
    assert found.independent == pytest.approx(0.483333, abs=1e-6)
    assert found.independent_offset == pytest.approx(0.483333, abs=1e-6)
    assert found.independent_slope == pytest.approx(0.997333, abs=1e-6)
    assert found.least_squares.slope == pytest.approx(0.9956, abs=1e-12)
    assert found.least_squares.offset == pytest.approx(0.44, abs=1e-12)
    assert found.least_squares_worst == pytest.approx(0.57, abs=1e-12)


def test_how_sure_by_hand() -> None:
    """A bow read at one place in the middle: the terminal line stays, so its deviation moves as the
    reading; the strip's height does, so half of it moves by a half. The least-squares line takes a
    third of it along. What moves all readings together moves the only one likewise."""
    one = unsure([0.0, 1.0, 2.0], [0.0, 3.0, 2.0], own=0.3, common=0.0)
    assert (one.terminal, one.independent) == (pytest.approx(0.3), pytest.approx(0.15))
    assert one.least_squares == pytest.approx(0.2)
    both = unsure([0.0, 1.0, 2.0], [0.0, 3.0, 2.0], own=0.3, common=0.4)
    assert both.terminal == pytest.approx(0.5)
    none = unsure([0.0, 1.0, 2.0], [0.0, 3.0, 2.0], own=0.0, common=0.0)
    assert (none.least_squares, none.terminal, none.independent) == (0.0, 0.0, 0.0)


def test_how_sure_is_how_they_scatter() -> None:
    """Readings of a half sine with two corners, each off by its own error and all by a common one,
    the ends aside: 95 % of the deviations that follow lie as far from the true ones as is said."""
    rng = np.random.default_rng(13)
    x = np.linspace(0.0, 9.0, 10)
    y = x + np.sin(np.pi * x / 9.0) + 0.3 * (np.arange(10) == 3)
    said, true = unsure(x, y, own=1.96 * 0.02, common=1.96 * 0.03), straightness(x, y)
    names = {"least_squares": "least_squares_worst", "terminal": "terminal_worst"}
    held = dict.fromkeys([*names, "independent"], 0)
    for _ in range(1000):
        off = rng.normal(0.0, 0.02, 10) + rng.normal(0.0, 0.03)
        off[[0, -1]] = 0.0
        seen = straightness(x, y + off)
        for name in held:
            key = names.get(name, name)
            held[name] += abs(getattr(seen, key) - getattr(true, key)) <= getattr(said, name)
    assert all(925 <= count <= 975 for count in held.values()), held


def by_programming(x: list[float], y: list[float]) -> float:
    """Least e with |y - a - b x| <= e, by scipy's linear programming."""
    above = [[-1.0, -one, -1.0] for one in x]
    below = [[1.0, one, -1.0] for one in x]
    limits = [-one for one in y] + list(y)
    free = [(None, None), (None, None), (0, None)]
    return float(linprog([0, 0, 1], A_ub=above + below, b_ub=limits, bounds=free).fun)


def test_the_least_worst_line_is_that_of_linear_programming() -> None:
    rng = random.Random(11)
    for _ in range(60):
        x = [rng.uniform(0, 100) for _ in range(rng.randint(2, 20))]
        y = [0.7 * one + rng.gauss(0, 2) for one in x]
        offset, slope, worst = least_worst_line(x, y)
        assert worst == pytest.approx(by_programming(x, y), abs=1e-7)
        assert max(abs(b - offset - slope * a) for a, b in zip(x, y, strict=True)) == pytest.approx(
            worst, abs=1e-12
        )


def test_least_worst_needs_two_places() -> None:
    with pytest.raises(ValueError, match="equal"):
        least_worst_line([1.0, 1.0], [0.0, 2.0])


@pytest.mark.parametrize("most", [0, 1, 2, 3])
def test_the_best_knots_are_those_of_trying_all(most: int) -> None:
    rng = random.Random(12)
    for _ in range(25):
        x = sorted(rng.sample(range(100), 8))
        points = [(float(a), a + rng.gauss(0, 3)) for a in x]

        def worst(chosen: tuple[tuple[float, float], ...], points: list = points) -> float:
            line = bent([points[0], *chosen, points[-1]], [a for a, _ in points])
            return float(np.abs(line - [b for _, b in points]).max())

        tried = min(worst(c) for c in itertools.combinations(points[1:-1], most))
        found = tuple(best_knots(points, most))
        assert len(found) <= most
        assert worst(found) <= tried + 1e-12


def test_no_more_knots_than_are_enough() -> None:
    points = [(float(x), abs(x - 5.0)) for x in range(11)]
    assert best_knots(points, 8, enough=0.01) == [(5.0, 0.0)]


def test_between_readings_a_parabola_bends_by_its_second_difference() -> None:
    """y = x^2 read at whole x: the chord over 1 lies 1/4 off in the middle."""
    points = [(float(x), float(x * x)) for x in range(6)]
    assert between_readings(points) == pytest.approx(0.25)


def test_scatter_by_hand() -> None:
    """Two places, two visits a way: the pooled variance of 4 pairs with differences 2, 0, 2, 0 is
    (2 + 0 + 2 + 0) / 4 = 1; t of 4 degrees of freedom is 2.776445; the play is (2 + 2) / 2."""
    stops = [Stop((0.0, 2.0), (-1.0, -1.0)), Stop((1.0, 3.0), (0.0, 0.0))]
    found = scatter(stops, fixed=0.0, common=0.0)
    assert found.repeat == pytest.approx(1.0)
    assert found.own == found.mean == pytest.approx(2.776445 * math.sqrt(1 / 4), rel=1e-6)
    assert found.play == pytest.approx(2.0)
    more = scatter(stops, fixed=0.3, common=0.4)
    assert more.mean == pytest.approx(math.hypot(found.mean, 1.96 * 0.5), rel=1e-9)
    assert more.common == pytest.approx(1.96 * 0.4)
    with pytest.raises(ValueError, match="two visits"):
        scatter([Stop((0.0,), (1.0,))], 0.0, 0.0)


@pytest.mark.parametrize("freedom", [6, 8, 16, 40])
def test_bounds_of_chi_squared(freedom: int) -> None:
    assert chi_bounds(freedom) == pytest.approx(tuple(chi2.ppf([0.025, 0.975], freedom)), rel=0.03)
