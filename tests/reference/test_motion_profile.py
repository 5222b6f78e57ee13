"""Trapezoid times against published and worked examples.

Sources: uniform acceleration v^2 = v0^2 + 2 a x and the unequal ramps' example (inputs and formula
as printed on tech-champion.com; its printed result was not seen, the figure here is computed);
equal thirds give a mean of two thirds of the peak (industrialmonitordirect.com). The other rows are
own examples from the same formulas.
"""

import math

import numpy as np
import pytest
from rodbench.science.trapezoid import least_time, peak_speed, stopping_distance


def test_triangle_with_unequal_ramps() -> None:
    assert peak_speed(100, 1e9, 2, 4) == pytest.approx(16.329932, abs=1e-6)
    assert least_time(100, 1e9, 2, 4) == pytest.approx(12.247449, abs=1e-6)


def test_equal_thirds_have_two_thirds_of_the_peak_as_mean() -> None:
    # A third of the time each: ramp v/a, cruise v/a, ramp v/a; distance 2 v^2 / a.
    v, a = 20.0, 40.0
    distance = 2 * v * v / a
    assert distance / least_time(distance, v, a, a) == pytest.approx(2 / 3 * v)


@pytest.mark.parametrize(
    ("distance", "speed", "up", "down", "seconds"),
    [
        (100, 20, 40, 40, 5.5),
        (100, 20, 40, 80, 5.375),
        (10, 20, 40, 40, 1.0),
        (8, 20, 40, 40, 0.894427),
        (-100, 20, 40, 80, 5.375),
        (0, 20, 40, 80, 0.0),
    ],
)
def test_own_examples(
    distance: float, speed: float, up: float, down: float, seconds: float
) -> None:
    assert least_time(distance, speed, up, down) == pytest.approx(seconds, abs=1e-6)


def test_triangle_peak_of_a_short_way() -> None:
    assert peak_speed(8, 20, 40, 40) == pytest.approx(17.888544, abs=1e-6)


def test_least_time_agrees_with_stepping_the_trapezoid() -> None:
    """Independent truth: integrate speed in small steps until the distance is covered."""
    distance, speed, up, down, step = 37.0, 18.0, 25.0, 60.0, 1e-5
    x = v = t = 0.0
    while x < distance and not (t > 0.1 and v <= 0.0):
        braking = v * v / (2 * down) >= distance - x
        v = v - down * step if braking else min(speed, v + up * step)
        x, t = x + v * step, t + step
    assert least_time(distance, speed, up, down) == pytest.approx(t, abs=2e-3)


def test_stopping_distance_with_reaction() -> None:
    assert stopping_distance(20, 80, 0.030) == pytest.approx(3.1)
    assert stopping_distance(20, 80) == pytest.approx(20**2 / 160)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_ramps_must_be_above_zero(bad: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        least_time(10, 20, bad, 40)
    assert np.isfinite(least_time(10, 20, 1e-6, 40))
