"""Rest to rest by a trapezoid of speed; any consistent unit of length, seconds."""

from math import sqrt


def peak_speed(distance: float, speed: float, acceleration: float, deceleration: float) -> float:
    """Greatest speed reached: `speed`, or sqrt(2abD / (a + b)) when there is no room for it.

    Formula: uniform acceleration, v^2 = 2 a x on each ramp.
    """
    _positive(speed, acceleration, deceleration)
    both = acceleration + deceleration
    free = sqrt(2.0 * acceleration * deceleration * abs(distance) / both)
    return min(speed, free)


def least_time(distance: float, speed: float, acceleration: float, deceleration: float) -> float:
    """Least time in s: D/v + v/2a + v/2b, where v is the greatest speed reached."""
    v = peak_speed(distance, speed, acceleration, deceleration)
    if v == 0.0:
        return 0.0
    return abs(distance) / v + v / (2.0 * acceleration) + v / (2.0 * deceleration)


def stopping_distance(speed: float, deceleration: float, reaction_s: float = 0.0) -> float:
    """v^2 / 2b + v * reaction."""
    _positive(deceleration)
    return speed * speed / (2.0 * deceleration) + abs(speed) * reaction_s


def _positive(*values: float) -> None:
    if not all(value > 0.0 for value in values):
        raise ValueError("speed and ramps must be above zero")
