"""What kind of end a rod ran into, from how its current answered."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

LEAST_COUNTS = 6.0  # running current below this many ADC steps tells nothing
SWITCH_SHARE = 0.25
STALL_OVER_STOP = 1.1
STALL_OVER_RUNNING = 1.2
SPREAD_SHARE = 0.01
SPREAD_COUNTS = 4.0
RAW_PER_COUNT = 8.0  # raw is the sum of eight conversions


class End(StrEnum):
    SWITCH = "end-switch"
    STALL = "stall"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Approach:
    """One arrival at an end: raw at rest there, currents in A running, stopped and probed."""

    raw: float
    running_a: float
    stopped_a: float
    probe_a: float


@dataclass(frozen=True, slots=True)
class Sensor:
    """Current sensor: one ADC step and the noise (one sigma of a reading), both in A."""

    step_a: float
    noise_a: float


@dataclass(frozen=True, slots=True)
class Kind:
    """A verdict and the reason for it in one line."""

    end: End
    reason: str


def classify(approach: Approach, sensor: Sensor | None) -> Kind:
    """Tell an end switch from a stall by the answer to an output raised by a fifth.

    A switch leaves no current. A stalled motor is a resistance: its current follows the output.
    Between the two nothing is claimed.
    """
    if sensor is None:
        return Kind(End.UNKNOWN, "no current sensor: found by no motion alone")
    counts = approach.running_a / sensor.step_a
    if counts < LEAST_COUNTS:
        return Kind(End.UNKNOWN, f"sensor too coarse: running current is {counts:.1f} ADC steps")
    seen = (
        f"{approach.running_a:.2f} A -> {approach.stopped_a:.2f} A as it stopped, "
        f"{approach.probe_a:.2f} A at +20 % output"
    )
    floor = max(4.0 * sensor.noise_a + 2.0 * sensor.step_a, SWITCH_SHARE * approach.running_a)
    if approach.probe_a < floor and approach.stopped_a < approach.running_a:
        return Kind(End.SWITCH, seen)
    if (
        approach.probe_a >= STALL_OVER_STOP * approach.stopped_a
        and approach.probe_a >= STALL_OVER_RUNNING * approach.running_a
    ):
        return Kind(End.STALL, seen)
    return Kind(End.UNKNOWN, f"undecided: {seen}")


def agree(kinds: Sequence[Kind]) -> Kind:
    """One verdict from several approaches: two of the same kind and none of the other."""
    decided = [kind for kind in kinds if kind.end is not End.UNKNOWN]
    if len({kind.end for kind in decided}) > 1:
        return Kind(End.UNKNOWN, "the approaches contradict each other")
    if len(decided) >= min(2, len(kinds)) and decided:
        return decided[0]
    unsure = [kind for kind in kinds if kind.end is End.UNKNOWN]
    return Kind(End.UNKNOWN, unsure[0].reason if unsure else "no approach was made")


def spread(raws: Sequence[float]) -> float:
    """Greatest minus least."""
    return max(raws) - min(raws)


def spread_limit(span_raw: float) -> float:
    """Above this an end is not an end but a place where the rod binds."""
    return max(SPREAD_SHARE * abs(span_raw), SPREAD_COUNTS * RAW_PER_COUNT)
