"""A slender rod: Euler's load against a beam cut into pieces, and where yielding comes first.

Euler, pinned at both ends: pi² E I / L² (any text on strength of materials). Johnson's parabola,
S = Sy - (Sy L / (2 pi r))² / E, meets Euler's curve at half of the yield stress (any text on
machine design; from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.science.column import critical_n, least_rod_mm
from scipy.linalg import eigh_tridiagonal

E_GPA, YIELD = 200.0, 235.0


def bears(length: float, rod: float) -> float:
    return float(critical_n(np.array(length), np.array(rod), E_GPA, YIELD))


def test_by_hand() -> None:
    """10 mm, 400 mm: I = 490.874 mm⁴, pi² x 200 000 x 490.874 / 160 000 = 6055.9 N."""
    assert bears(400.0, 10.0) == pytest.approx(6055.913, abs=1e-3)
    assert bears(800.0, 10.0) == pytest.approx(6055.913 / 4.0, abs=1e-3)
    assert bears(100.0, 10.0) == pytest.approx(math.pi * 25.0 * YIELD / 2.0)


def test_a_beam_cut_into_pieces_gives_way_at_the_same_load() -> None:
    """-E I w'' = P w with w = 0 at both ends, as differences: its least eigenvalue is P."""
    pieces, length, rod = 800, 500.0, 8.0
    stiffness = E_GPA * 1e3 * math.pi * rod**4 / 64.0 / (length / pieces) ** 2
    least = eigh_tridiagonal(
        np.full(pieces - 1, 2.0 * stiffness), np.full(pieces - 2, -stiffness),
        select="i", select_range=(0, 0), eigvals_only=True,
    )[0]  # fmt: skip
    assert bears(length, rod) == pytest.approx(least, rel=1e-4)


@given(length=st.floats(20.0, 3000.0), rod=st.floats(3.0, 40.0))
def test_never_more_than_johnson_or_euler(length: float, rod: float) -> None:
    area, radius = math.pi * rod**2 / 4.0, rod / 4.0
    slender = length / radius
    edge = math.pi * math.sqrt(2.0 * E_GPA * 1e3 / YIELD)
    if slender >= edge:
        true = math.pi**2 * E_GPA * 1e3 / slender**2
        assert bears(length, rod) == pytest.approx(area * true, rel=1e-9)
    else:
        true = YIELD - (YIELD * slender / (2.0 * math.pi)) ** 2 / (E_GPA * 1e3)
        assert bears(length, rod) <= area * true * (1 + 1e-9)


@given(force=st.floats(1.0, 10_000.0), length=st.floats(20.0, 3000.0), factor=st.floats(1.0, 10.0))
def test_the_thinnest_rod_bears_just_that(force: float, length: float, factor: float) -> None:
    least = float(least_rod_mm(np.array(force), np.array(length), factor, E_GPA, YIELD))
    assert bears(length, least) == pytest.approx(factor * force, rel=1e-9)
    assert float(least_rod_mm(np.array(-force), np.array(length), factor, E_GPA, YIELD)) == 0.0
