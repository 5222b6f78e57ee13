"""Student's t: how far off a mean of few readings may be.

The share beyond t is half of the regularised incomplete beta I_x(nu/2, 1/2) at x = nu / (nu + t^2)
(Abramowitz and Stegun 26.7.1), by the continued fraction 26.5.8 in Lentz's way.
"""

from __future__ import annotations

from math import exp, lgamma, log

_TERMS, _SMALL = 300, 1e-300


def beyond(t: float, freedom: float) -> float:
    """Probability that |t| is exceeded in either direction, with `freedom` degrees of freedom."""
    if t == 0.0:
        return 1.0
    return _incomplete_beta(freedom / 2.0, 0.5, freedom / (freedom + t * t))


def quantile(share: float, freedom: float) -> float:
    """The |t| that is exceeded, either way, with the probability `share` (0 .. 1)."""
    if not 0.0 < share < 1.0 or freedom <= 0.0:
        raise ValueError("a share between 0 and 1, and some freedom, are needed")
    low, high = 0.0, 1.0
    while beyond(high, freedom) > share:
        low, high = high, 2.0 * high
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if beyond(middle, freedom) > share else (low, middle)
    return (low + high) / 2.0


def _incomplete_beta(a: float, b: float, x: float) -> float:
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1.0 - x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1.0 / _away(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, _TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1.0 / _away(1.0 + term * d)
            c = _away(1.0 + term / c)
            value *= c * d
        if abs(c * d - 1.0) < 1e-13:
            break
    return value


def _away(value: float) -> float:
    return value if abs(value) > _SMALL else _SMALL
