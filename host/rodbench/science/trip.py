"""A current trip: above all that normal work draws, and below the stall where there is room."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from .stall import Stall

OVER_PEAK = 1.5
LEAST_OVER_PEAK = 1.15
BELOW_STALL = 0.8
LEAST_A = 0.05  # the board takes no smaller one


@dataclass(frozen=True, slots=True)
class Trip:
    """A current trip in A, the reason in one line, and what is not good about it."""

    trip_a: float
    reason: str
    warning: str = ""

    def held_to(self, tops: Iterable[tuple[float, str]]) -> "Trip":
        """Not above any of `tops`, each with its name."""
        found = self
        for top, name in tops:
            if found.trip_a > top:
                found = replace(found, trip_a=top, reason=f"{found.reason}; held to {name}")
        return found

    def rounded(self) -> "Trip":
        """As a person reads it and the board takes it."""
        return replace(self, trip_a=max(round(self.trip_a, 2), LEAST_A))


def over_peak(peak_a: float, stall: Stall | None) -> Trip:
    """By the peak of normal work and, where it is known, the stall."""
    found, why = OVER_PEAK * peak_a, f"peak {peak_a:.1f}"
    if stall is None:
        unknown = "the stall current is unknown: the trip may lie above it"
        return Trip(found, f"{why}, stall unknown", unknown)
    least = LEAST_OVER_PEAK * peak_a
    below = BELOW_STALL * (stall.current_a - stall.sigma_a)
    why += f", stall about {stall.current_a:.1f} +- {stall.sigma_a:.1f} ({stall.source})"
    close = "running peak and stall lie close: the trip may not see a stall"
    return Trip(min(found, max(below, least)), why, close if below < least else "")
