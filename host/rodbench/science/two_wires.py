"""A rod with two wires: what a person and the current tell of it, since nothing else does."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .ends import SWITCH_SHARE, End, Sensor
from .polarity import LEAD_COUNTS, Finding, Seen
from .speed import held_peak
from .stall import Stall
from .trip import LEAST_OVER_PEAK, Trip, over_peak

RISEN = 1.2  # times running: a motor that is held
START_S = 0.4  # ramp and inrush
TAIL_S = 0.1  # of readings that say how a run ended
AGREE_SHARE = 0.08  # strokes of one way that differ by more were not all whole strokes
AGREE_S = 0.15
OVER_STALL = 1.15  # a trip, where every run ends in a stall


@dataclass(frozen=True, slots=True)
class SeenRun:
    """One short run by the lines: `sign` of the output, mean current with the size of one ADC step
    in A (None without a sensor), and what a person saw."""

    sign: int
    current_a: float | None
    step_a: float
    seen: Seen

    @property
    def draws(self) -> bool | None:
        """The motor drew current; None without a sensor."""
        if self.current_a is None:
            return None
        return self.current_a > LEAD_COUNTS * self.step_a

    @property
    def went(self) -> bool:
        """A person saw it go."""
        return self.seen in (Seen.OUT, Seen.IN)


@dataclass(frozen=True, slots=True)
class Direction:
    """The finding, its sentence, and the direction where it is settled."""

    finding: Finding
    text: str
    motor_reversed: bool = False

    @property
    def settled(self) -> bool:
        return self.finding is Finding.SETTLED


def direction(a: SeenRun, b: SeenRun) -> Direction:
    """Judge two runs of opposite sign. Only answers that contradict each other as two opposite runs
    must, and that the current does not deny, settle anything."""
    if a.sign == b.sign:
        raise ValueError("the two runs must be driven in opposite directions")
    if not (a.went or b.went) and a.draws is False and b.draws is False:
        return Direction(
            Finding.MOTOR_OPEN,
            "neither run drew current: motor lead, fuse, driver or its supply is open",
        )
    if Seen.NOT_SEEN in (a.seen, b.seen):
        return Direction(Finding.NOT_SEEN, "nobody saw which way the rod went")
    if any(run.went and run.draws is False for run in (a, b)):
        return Direction(
            Finding.CONTRADICTORY,
            "the rod is said to have gone, but the motor drew no current: is it this rod?",
        )
    if not (a.went and b.went):
        return _stood(a, b)
    if a.seen is b.seen:
        return Direction(Finding.CONTRADICTORY, f"two opposite runs cannot both go {a.seen.value}")
    reverse = (a.seen is Seen.OUT) != (a.sign > 0)
    motor = "motor reversed" if reverse else "motor not reversed"
    return Direction(Finding.SETTLED, f"{motor}. Leave the leads as they are.", reverse)


def _stood(a: SeenRun, b: SeenRun) -> Direction:
    """At least one run is said to have left the rod where it was."""
    if any(run.draws is False for run in (a, b) if not run.went):
        return Direction(
            Finding.MOTOR_OPEN,
            "one way the motor draws no current, and the rod was not seen to leave an end: end "
            "switch, its diode or one direction of the driver open",
        )
    pulls = "" if a.draws is None and b.draws is None else "the motor draws current but "
    return Direction(
        Finding.NO_MOTION,
        f"{pulls}the rod was seen to stand still{'' if not (a.went or b.went) else ' one way'}: is "
        "it jammed, or does creep output lack the force?",
    )


@dataclass(frozen=True, slots=True)
class Stroke:
    """One run from end to end: seconds until the current showed the end, currents in A while it
    ran and at the end, the peaks, and how the travel ended."""

    time_s: float
    running_a: float
    peak_a: float
    held_peak_a: float
    end_a: float
    kind: End


def stroke(
    times_s: Sequence[float], currents_a: Sequence[float], held_s: float, sensor: Sensor
) -> Stroke:
    """What a run tells, from its readings with the output on; times count from its start.

    At an end switch the current is lost, at a stall it rises. Raises ValueError for a run that is
    too short.
    """
    times, currents = np.asarray(times_s, dtype=float), np.asarray(currents_a, dtype=float)
    tail = currents[times >= times[-1] - TAIL_S] if times.size else currents
    body = _body(times, currents)
    if body.size < 5 or tail.size < 2:
        raise ValueError("the run is too short to measure its time")
    end = float(tail.mean())
    last = _arrival(currents, float(np.median(body)), end)
    way, way_a = times[: last + 1], currents[: last + 1]
    running = float(np.median(_body(way, way_a)))
    return Stroke(
        time_s=float(times[last]),
        running_a=running,
        peak_a=float(way_a.max()),
        held_peak_a=held_peak(way, way_a, held_s),
        end_a=end,
        kind=_kind(running, end, sensor),
    )


def _body(times: np.ndarray, currents: np.ndarray) -> np.ndarray:
    """Readings of steady running: start and end of the run aside."""
    if not times.size:
        return currents
    first = min(START_S, 0.25 * times[-1])
    body: np.ndarray = currents[(times >= first) & (times <= 0.95 * times[-1])]
    return body


def _kind(running: float, end: float, sensor: Sensor) -> End:
    floor = max(4.0 * sensor.noise_a + 2.0 * sensor.step_a, SWITCH_SHARE * running)
    if end < floor and end < 0.5 * running:
        return End.SWITCH
    return End.STALL if end > RISEN * running else End.UNKNOWN


def _arrival(currents: np.ndarray, running: float, end: float) -> int:
    """The last reading that is nearer to running than to what the run ended with."""
    middle = (running + end) / 2.0
    ran = currents > middle if end < running else currents < middle
    return int(np.flatnonzero(ran)[-1]) if ran.any() else currents.size - 1


def agree(times_s: Sequence[float]) -> bool:
    """Whether strokes of one way took the same time: else one of them was cut short."""
    spread = max(times_s) - min(times_s)
    return spread <= max(AGREE_S, AGREE_SHARE * max(times_s))


def trip(
    held_peak_a: float,
    stall: Stall | None,
    end_a: float | None,
    tops: Sequence[tuple[float, str]],
) -> Trip:
    """Above all that normal work draws, and where it can be below the stall.

    `end_a`: current at ends that are hard stops, where every run ends in a stall (None: switches);
    `tops`: what must not be passed, with its name.
    """
    least = LEAST_OVER_PEAK * held_peak_a
    if end_a is None:
        found = over_peak(held_peak_a, stall)
    else:
        least = max(least, OVER_STALL * end_a)
        found = Trip(
            least, f"above the {end_a:.1f} A of the stall that every end is: the time tells a jam"
        )
    found = found.held_to(tops)
    if found.trip_a < least:
        near = f"the trip of {found.trip_a:.2f} A lies near what normal work draws"
        found = replace(found, warning=f"{near}: it may trip in use")
    return found.rounded()
