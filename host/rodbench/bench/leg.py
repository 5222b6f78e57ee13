"""One way travelled at creep, and what it tells of speed and current."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean

from rodbench.board import AxisSample
from rodbench.clock import TICK_S
from rodbench.science.line import fit_line

from .job import SLOW_PERIOD_S
from .polarity import Polarity

LEAST_SAMPLES = 6
PEAK_INSET = 0.05


@dataclass(slots=True)
class Leg:
    """One way travelled at creep: +1 extending."""

    way: int
    output: float
    samples: list[AxisSample]

    def middle(self, inset: float = 0.2) -> list[AxisSample]:
        """Samples between a fifth and four fifths of the travel: steady creep."""
        raws = [s.raw for s in self.samples]
        if len(raws) < 2:
            return []
        low, high = sorted((raws[0], raws[-1]))
        off = (high - low) * inset
        return [s for s in self.samples if low + off <= s.raw <= high - off]

    def travel_raw(self) -> float:
        """How far the pot went."""
        return abs(self.samples[-1].raw - self.samples[0].raw) if self.samples else 0.0

    def peak_a(self) -> float:
        """The greatest mean current of half a second on the way, start and end aside."""
        currents = [s.current_a for s in self.middle(PEAK_INSET)]
        size = round(0.5 / SLOW_PERIOD_S)
        return max(
            (fmean(currents[i : i + size]) for i in range(len(currents) - size + 1)), default=0.0
        )

    def current_a(self) -> float | None:
        """Mean current of steady creep; None when too short to tell."""
        middle = self.middle()
        return fmean(s.current_a for s in middle) if len(middle) >= LEAST_SAMPLES else None

    def raw_s(self) -> float:
        """Raw per s, 0 when too short to tell."""
        middle = self.middle()
        if len(middle) < LEAST_SAMPLES:
            return 0.0
        return fit_line([s.tick * TICK_S for s in middle], [s.raw for s in middle]).slope


def creep_raw_s(leg: Leg | None, runs: Polarity, way: int) -> float:
    """Creep in raw per s: by a leg where there is one, else by the run that found the direction."""
    return abs(leg.raw_s()) if leg else runs.raw_s_of(way)


def creep_a(leg: Leg | None, runs: Polarity, way: int) -> float:
    """Current of creep in A, likewise."""
    current = leg.current_a() if leg else None
    return runs.current_of(way) if current is None else current
