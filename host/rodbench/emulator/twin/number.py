"""Small sums on signed numbers. Sibling of number.c, as far as Python lacks them."""

from __future__ import annotations


def between(value: int, low: int, high: int) -> int:
    """The value, held within the limits."""
    return low if value < low else high if value > high else value
