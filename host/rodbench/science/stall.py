"""Stall current from points where nothing was stalled at full output.

Brushed motor at rest: I = V / R. Running: V = I R + K w (any machines textbook; w is
proportional to rod speed). Nothing here is measured at full stall: each figure carries one sigma.
"""

from dataclasses import dataclass

WARMTH = 0.05  # a winding 13 K warmer or colder (copper, 0.00393 per K), and the supply's sag


@dataclass(frozen=True, slots=True)
class Point:
    """Volts at the motor (output times supply), current in A, rod speed in mm/s (0: stalled)."""

    volts: float
    current_a: float
    speed_mm_s: float


@dataclass(frozen=True, slots=True)
class Stall:
    """Stall current at `volts`, one sigma, and where it comes from."""

    current_a: float
    sigma_a: float
    source: str


def resistance(creep: Point, full: Point) -> float | None:
    """Ohms, sources included, from two running points; None when they do not settle it."""
    below = creep.current_a * full.speed_mm_s - full.current_a * creep.speed_mm_s
    above = creep.volts * full.speed_mm_s - full.volts * creep.speed_mm_s
    return above / below if above * below > 0.0 else None


def from_running(
    creep: Point, full: Point, volts: float, sigma_a: float, sigma_speed: float
) -> Stall | None:
    """Stall at `volts` from creep and full speed, errors carried through one by one.

    sigma_a in A and sigma_speed in mm/s hold for both points.
    """
    ohms = resistance(creep, full)
    if ohms is None:
        return None
    best = volts / ohms
    shifted = (
        (Point(creep.volts, creep.current_a + sigma_a, creep.speed_mm_s), full),
        (creep, Point(full.volts, full.current_a + sigma_a, full.speed_mm_s)),
        (Point(creep.volts, creep.current_a, creep.speed_mm_s + sigma_speed), full),
        (creep, Point(full.volts, full.current_a, full.speed_mm_s + sigma_speed)),
    )
    square = 0.0
    for one, other in shifted:
        moved = resistance(one, other)
        if moved is None:
            return None
        square += (volts / moved - best) ** 2
    sigma = (square + (WARMTH * best) ** 2) ** 0.5
    return Stall(best, sigma, "scaled from creep and full speed, not measured")


def from_stalled(stopped: Point, volts: float, sigma_a: float) -> Stall | None:
    """Stall at `volts` from a stall at creep output: current in proportion to the volts."""
    if stopped.volts <= 0.0 or stopped.current_a <= 0.0:
        return None
    scale = volts / stopped.volts
    best = stopped.current_a * scale
    sigma = ((sigma_a * scale) ** 2 + (WARMTH * best) ** 2) ** 0.5
    return Stall(best, sigma, "scaled from the stall at creep, not measured")


def behind_source(stall: Stall, volts: float, source_ohm: float) -> Stall:
    """The same motor behind a supply of `volts` at rest that sags by `source_ohm`."""
    share = 1.0 / (1.0 + stall.current_a * source_ohm / volts)
    return Stall(stall.current_a * share, stall.sigma_a * share, stall.source)


def believable(stall: Stall | None, full: Point) -> Stall | None:
    """None for an estimate that does not stand clear of its own error and the running current."""
    if stall is None or stall.sigma_a > 0.35 * stall.current_a:
        return None
    return stall if stall.current_a - stall.sigma_a > 1.2 * full.current_a else None
