"""Straight line by least squares."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Line:
    """y = offset + slope * x; `residual` is the standard deviation about the line (n - 2)."""

    offset: float
    slope: float
    residual: float
    slope_error: float

    def at(self, x: float) -> float:
        return self.offset + self.slope * x

    def crosses(self, y: float) -> float:
        """The x at which the line has this y; infinite when it is level."""
        return (y - self.offset) / self.slope if self.slope else float("inf")


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Least squares with centred sums (any statistics textbook), which keep their digits.

    Raises ValueError below two points or when all x are equal.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.size != ys.size or xs.size < 2:
        raise ValueError("a line needs two points or more, as many x as y")
    dx, dy = xs - xs.mean(), ys - ys.mean()
    square = float(dx @ dx)
    if square == 0.0:
        raise ValueError("all x are equal")
    slope = float(dx @ dy) / square
    offset = float(ys.mean()) - slope * float(xs.mean())
    left = dy - slope * dx
    residual = (float(left @ left) / (xs.size - 2)) ** 0.5 if xs.size > 2 else 0.0
    return Line(offset, slope, residual, residual / square**0.5)
