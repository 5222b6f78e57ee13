"""Speed, dead zone and run-on from a recorded run."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .line import Line, fit_line

STEADY_SHARE = 0.4  # the last part of a run, by then at full speed


@dataclass(frozen=True, slots=True)
class Run:
    """A run at one output: times in s, positions in mm, currents in A while the output was on."""

    times_s: Sequence[float]
    positions_mm: Sequence[float]
    currents_a: Sequence[float]


@dataclass(frozen=True, slots=True)
class Steady:
    """The steady part: its line of position against time, mean current, and the peaks."""

    line: Line
    running_a: float
    peak_a: float
    held_peak_a: float

    @property
    def speed_mm_s(self) -> float:
        return abs(self.line.slope)


def steady(run: Run, held_s: float, share: float = STEADY_SHARE) -> Steady:
    """Fit the last `share` of the run; the held peak is the current that stood for `held_s`.

    Raises ValueError when fewer than five readings are left to fit.
    """
    times = np.asarray(run.times_s, dtype=float)
    first = int(np.searchsorted(times, times[-1] - share * (times[-1] - times[0])))
    if times.size - first < 5:
        raise ValueError("the run is too short to measure a speed")
    line = fit_line(times[first:].tolist(), list(run.positions_mm[first:]))
    currents = np.asarray(run.currents_a, dtype=float)
    running = float(currents[first:].mean())
    return Steady(line, running, float(currents.max()), held_peak(times, currents, held_s))


def held_peak(times: np.ndarray, currents: np.ndarray, held_s: float) -> float:
    """Greatest current that was not undercut for `held_s`: what a filtered trip would see."""
    best = 0.0
    for start, begin in enumerate(times):
        stop = int(np.searchsorted(times, begin + held_s, side="right"))
        if stop >= times.size and start > 0:
            break
        best = max(best, float(currents[start:stop].min()))
    return best


def run_on(line: Line, stop_s: float, rest_mm: float) -> float:
    """Distance in mm between where the output went to 0 and where the rod came to rest."""
    way = 1.0 if line.slope >= 0 else -1.0
    return max(0.0, (rest_mm - line.at(stop_s)) * way)


def dead_zone(points: Sequence[tuple[float, float]]) -> float:
    """Output (0..1) at which the line of speed against output crosses zero.

    Points are (output, speed), from at least two different outputs. A brushed motor with dry
    friction follows such a line: V = I R + K w with I set by the friction (motor equation, any
    machines textbook). Held within 0 .. 0.6.
    """
    line = fit_line([p[0] for p in points], [p[1] for p in points])
    return min(0.6, max(0.0, line.crosses(0.0)))
