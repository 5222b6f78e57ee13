"""A long rod under pressure: Euler's column, pinned at both ends.

Source: critical load pi^2 E I / L^2 (Euler; any text on strength of materials), I = pi d^4 / 64.
Above half of the yield stress Euler promises too much; there the parabola of J. B. Johnson takes
over, and half of the yield stress is where the two meet: no more than that is counted on here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def critical_n(length_mm: Array, rod_mm: Array, modulus_gpa: float, yield_mpa: float) -> Array:
    """Force in N at which a round solid rod between two pins gives way."""
    inertia = np.pi * rod_mm**4 / 64.0
    euler = np.pi**2 * modulus_gpa * 1e3 * inertia / length_mm**2
    area = np.pi * rod_mm**2 / 4.0
    return np.minimum(euler, area * yield_mpa / 2.0)


def least_rod_mm(
    force_n: Array, length_mm: Array, factor: float, modulus_gpa: float, yield_mpa: float
) -> Array:
    """The thinnest round rod that bears `factor` times the force; 0 where nothing presses."""
    wanted = factor * np.maximum(force_n, 0.0)
    euler = (64.0 * wanted * length_mm**2 / (np.pi**3 * modulus_gpa * 1e3)) ** 0.25
    return np.maximum(euler, np.sqrt(8.0 * wanted / (np.pi * yield_mpa)))
