"""Divisions, named by how they round. The divisor is always above zero."""

from __future__ import annotations


def div_toward_zero(a: int, b: int) -> int:
    """Quotient of which the fraction is cut off, as C divides."""
    return a // b if a >= 0 else -(-a // b)


def div_nearest(a: int, b: int) -> int:
    """Nearest, halves away from zero."""
    half = b >> 1
    return (a + half) // b if a >= 0 else -((half - a) // b)


def div_up(a: int, b: int) -> int:
    """Ceiling, for a of at least 0."""
    return -(-a // b)
