"""Which fuse: the standard series, and the rule by which one is chosen.

Ratings of blade fuses, medium size, type C of ISO 8820-3 (from memory), 32 V or 58 V, which break
1000 A (its scope as published). Rule (common practice for blade fuses): what flows all the time is
at most 75 % of the rating; the board's trips act before the fuse, so it is not below any of them;
and it never lies above what the wire behind it carries.
"""

from __future__ import annotations

from collections.abc import Sequence

RATINGS_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
LOAD_SHARE = 0.75
VOLTAGES_V = (32.0, 58.0)
HOLDS = 1.35  # a fuse may bear less than this times its rating for minutes or longer (memory)


def bears(rating_a: float, continuous_a: float, trips_a: Sequence[float] = ()) -> bool:
    """Whether a fuse bears what flows all the time, and leaves each trip to act first."""
    return rating_a * LOAD_SHARE >= continuous_a and all(rating_a >= trip for trip in trips_a)


def least_a(continuous_a: float, trips_a: Sequence[float] = ()) -> float:
    """The least rating in A that the rule allows, standard or not."""
    return max(continuous_a / LOAD_SHARE, *trips_a, 0.0)


def choose(
    continuous_a: float, trips_a: Sequence[float] = (), most_a: float | None = None
) -> float | None:
    """The smallest rating of the series that bears it and is not above `most_a`, what the wire
    carries; None when there is none."""
    for rating in RATINGS_A:
        if bears(rating, continuous_a, trips_a):
            return rating if most_a is None or rating <= most_a else None
    return None


def voltage_class(supply_v: float) -> float | None:
    """The rated voltage of the fuse to take; None above all of them."""
    return next((volts for volts in VOLTAGES_V if supply_v <= volts), None)
