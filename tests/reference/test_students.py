"""Student's t against the table that every statistics textbook prints, and scipy."""

from __future__ import annotations

import math

import pytest
from rodbench.science.students import beyond, quantile
from scipy import stats

# Two-sided 5 % and 1 % points, as printed in tables of the distribution.
TABLE = [(1, 12.706, 63.657), (2, 4.303, 9.925), (4, 2.776, 4.604), (10, 2.228, 3.169),
         (30, 2.042, 2.750), (120, 1.980, 2.617)]  # fmt: skip


@pytest.mark.parametrize(("freedom", "five", "one"), TABLE)
def test_the_printed_table(freedom: int, five: float, one: float) -> None:
    assert quantile(0.05, freedom) == pytest.approx(five, abs=6e-4)
    assert quantile(0.01, freedom) == pytest.approx(one, abs=6e-4)


@pytest.mark.parametrize("freedom", [1.0, 2.5, 3.0, 8.0, 57.0, 400.0])
@pytest.mark.parametrize("share", [0.3, 0.01, 5e-4, 1e-6])
def test_scipy_gives_the_same(share: float, freedom: float) -> None:
    assert quantile(share, freedom) == pytest.approx(stats.t.isf(share / 2, freedom), rel=1e-6)


@pytest.mark.parametrize("t", [0.0, 0.1, 1.0, 4.0, 30.0])
def test_one_freedom_is_the_arctangent(t: float) -> None:
    """With one freedom it is Cauchy's distribution: 1 - 2/pi atan t."""
    assert beyond(t, 1.0) == pytest.approx(1.0 - 2.0 / math.pi * math.atan(t), rel=1e-9)


@pytest.mark.parametrize(("share", "freedom"), [(0.0, 4.0), (1.0, 4.0), (0.05, 0.0)])
def test_what_is_no_share_is_refused(share: float, freedom: float) -> None:
    with pytest.raises(ValueError, match="share"):
        quantile(share, freedom)
