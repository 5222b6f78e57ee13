"""Statistics against certified values.

Source: NIST/ITL Statistical Reference Datasets. Norris (straight line): data and certified values
as in scipy's copy of Norris.dat (scipy/stats/tests/data/nist_linregress), J. Norris, Calibration of
Ozone Monitors. NumAcc1 to NumAcc4 (univariate): from memory, recomputed in exact fractions.
"""

from fractions import Fraction

import pytest
from rodbench.science.line import fit_line
from rodbench.science.rest import rest

NORRIS = """
0.2,0.1 337.4,338.8 118.2,118.1 884.6,888.0 10.1,9.2 226.5,228.1 666.3,668.5 996.3,998.5
448.6,449.1 777.0,778.9 558.2,559.2 0.4,0.3 0.6,0.1 775.5,778.1 666.9,668.8 338.0,339.3
447.5,448.9 11.6,10.8 556.0,557.7 228.1,228.3 995.8,998.0 887.6,888.8 120.2,119.6 0.3,0.3
0.3,0.6 556.8,557.6 339.1,339.3 887.2,888.0 999.0,998.5 779.0,778.9 11.1,10.2 118.3,117.6
229.2,228.9 669.1,668.4 448.9,449.2 0.5,0.2
"""
POINTS = [tuple(pair.split(",")) for pair in NORRIS.split()]


def test_norris_line_to_ten_digits() -> None:
    line = fit_line([float(x) for x, _ in POINTS], [float(y) for _, y in POINTS])
    assert len(POINTS) == 36
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert line.offset == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.residual == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-10)


def test_norris_certified_values_follow_from_the_data() -> None:
    """In exact fractions the data above give the certified slope: no digit was mistyped."""
    xs = [Fraction(x) for x, _ in POINTS]
    ys = [Fraction(y) for _, y in POINTS]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    above = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    below = sum((x - mean_x) ** 2 for x in xs)
    assert float(above / below) == pytest.approx(1.00211681802045, rel=1e-14)


@pytest.mark.parametrize(
    ("values", "mean", "deviation"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0),
        ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1),
        ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1),
        ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_mean_and_deviation(values: list[float], mean: float, deviation: float) -> None:
    found = rest(values)
    assert found.mean == pytest.approx(mean, rel=1e-14)
    assert found.rms == pytest.approx(deviation, rel=1e-7)
