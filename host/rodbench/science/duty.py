"""Planning motor time against a duty budget."""

from dataclasses import dataclass
from math import ceil


@dataclass(frozen=True, slots=True)
class Plan:
    """Motor time in s that is wanted, that may be spent now, and the rests that this takes."""

    motor_s: float
    left_s: float
    rests: int
    rest_s: float


def plan(motor_s: float, left_s: float, share: float, window_s: float) -> Plan:
    """Rests needed when each gives back at most a whole budget (share of window).

    A budget that is spent in one go comes back as it was spent, a window later: so a rest takes
    what the window has beyond the budget, and then as long as it took to spend what is wanted.
    """
    budget = share * window_s
    short = motor_s - left_s
    if short <= 0.0:
        return Plan(motor_s, left_s, 0, 0.0)
    rests = ceil(short / budget)
    return Plan(motor_s, left_s, rests, rests * (window_s - budget) + short)


def stroke_bound_s(raw_to_go: float, raw_per_s: float) -> float:
    """Longest time to an end that must lie within the pot's scale."""
    return abs(raw_to_go) / abs(raw_per_s) if raw_per_s else float("inf")
