"""The rod's own ends found again, to see whether the pot still says what it said when learned.

Between soft stops a pot that slipped looks like one that did not: only a place that the pot does
not define tells, and that is an end of the travel. So this needs a rod whose ends were found by
creep before, free on the bench.
"""

from __future__ import annotations

from dataclasses import dataclass

from rodbench_protocol.names import Ended

from rodbench.board.convert import mm_per_raw

from .budget import Budget
from .endpoints import (
    CREEP_MOST,
    CREEP_STEP,
    GIVES_WAY_RAW,
    NAMES,
    STUCK,
    at_rest_stall,
    speed_um_s,
)
from .job import BOARD_PERIOD_S, SLOW_PERIOD_S, Job, failed, refuse_fault, settle
from .pot_work import changed
from .strokes import KEPT, go

APPROACHES = 2
NEAR = 0.1  # share of the way from which creeping begins: a pot may have slipped by less
BACK = 0.05  # share of the stroke, between the approaches
TRIES = 4


@dataclass(frozen=True, slots=True)
class FoundAgain:
    """Where each approach ended, in mm by the line that was learned; and the motor time."""

    retracted_mm: tuple[float, ...]
    extended_mm: tuple[float, ...]


def planned_s(job: Job) -> float:
    """Motor time in s."""
    stroke = job.live["stroke_um"] / job.live["creep_speed_um_s"]
    fast = 2.2 * job.live["stroke_um"] / job.live["speed_max_um_s"]
    return 2 * (NEAR + (2 * APPROACHES - 1) * BACK + 0.02) * stroke + fast


def find(job: Job) -> FoundAgain:
    """Creep to each end twice. The axis counts as uncalibrated meanwhile, so that the soft stops do
    not bar the way; its settings are put back, and nothing is stored.

    Raises ProcedureError when an end is not found, Faulted when a guard trips.
    """
    found = {way: _approach(job, way) for way in (-1, 1)}
    return FoundAgain(tuple(found[-1]), tuple(found[1]))


@dataclass(frozen=True, slots=True)
class _Line:
    """The line that was learned, kept while the axis goes by another, and where its stops are."""

    mm_per_raw: float
    zero_raw: int
    stroke_mm: float
    stops_mm: tuple[float, float]

    @classmethod
    def of(cls, job: Job) -> _Line:
        live = job.live
        low, high = (live[f"soft_stop_{side}_um"] / 1000.0 for side in ("min", "max"))
        return cls(
            mm_per_raw(live), live["raw_retracted"], live["stroke_um"] / 1000.0, (low, high)
        )  # fmt: skip

    def mm(self, raw: float) -> float:
        return (raw - self.zero_raw) * self.mm_per_raw


def _approach(job: Job, way: int) -> list[float]:
    line = _Line.of(job)
    low, high = line.stops_mm
    far = NEAR * (high - low)
    Budget(job).ensure(planned_s(job) / 2.0, f"the {NAMES[way]} end")
    go(job, low + far if way < 0 else high - far)
    found = []
    with changed(job, _uncalibrated(job)):
        for _ in range(APPROACHES):
            found.append(line.mm(_end(job, way)))
            _leave(job, line, way)
    return found


def _uncalibrated(job: Job) -> dict[str, int]:
    """As for the first search: the pot's whole scale, and the creep that goes with it."""
    raw_s = job.live["creep_speed_um_s"] / 1000.0 / abs(mm_per_raw(job.live))
    stroke_mm = job.live["stroke_um"] / 1000.0
    return {
        "calibrated": 0,
        "creep_output_permille": job.live["creep_output_permille"],
        "raw_retracted": 0,
        "raw_extended": job.scale.widest_pot,
        "creep_speed_um_s": speed_um_s(job.scale.pot, raw_s, stroke_mm),
    } | at_rest_stall(job)


def _end(job: Job, way: int) -> float:
    """Creep to the end and press on it a little harder: a load that grows on the way, or a motor
    that has become weak, stops a rod just like an end, but gives way to more output."""
    found, gentle = _seek(job, way), job.live["creep_output_permille"]
    while _stronger(job):
        again = _seek(job, way)
        if abs(again - found) <= GIVES_WAY_RAW:
            job.commit({"creep_output_permille": gentle})
            break
        job.say("       that was no end: the rod went on with more output")
        found, gentle = again, job.live["creep_output_permille"]
    return found


def _stronger(job: Job) -> bool:
    """Raise creep by a step; False when it is at its most."""
    output = job.live["creep_output_permille"]
    most = min(round(1000 * CREEP_MOST), job.live["output_max_permille"])
    if output >= most:
        return False
    job.commit({"creep_output_permille": min(most, output + round(1000 * CREEP_STEP))})
    return True


def _seek(job: Job, way: int) -> float:
    """Creep to the end; where it is, in raw."""
    for _ in range(TRIES):
        job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        with job.axis.seek(way) as motion:
            for _ in job.samples(motion):
                pass
        outcome = job.axis.outcome()
        if outcome.ended == Ended.END_FOUND:
            settle(job)
            return float(outcome.raw)
        refuse_fault(job, outcome, f"seeking the {NAMES[way]} end", KEPT)
        if outcome.ended == Ended.DUTY:
            Budget(job).ensure(planned_s(job) / 4.0, f"the {NAMES[way]} end")
        elif not job.hiccup(outcome):
            break
    raise failed(job, f"the {NAMES[way]} end was not found again", "See that it is free.", KEPT)


def _leave(job: Job, line: _Line, way: int) -> None:
    """Back by a share of the stroke, and further until the pot reads inside the soft stop again:
    a pot that slipped far would else be out of its band once the calibration is back."""
    stop = line.stops_mm[0 if way < 0 else 1]
    for _ in range(TRIES):
        job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        start, creep = None, job.live["creep_output_permille"] / 1000.0
        with job.axis.jog_output(-way * creep) as motion:
            for sample in job.samples(motion):
                place = line.mm(sample.raw)
                start = place if start is None else start
                inside = way * (stop - place) > 0.01 * line.stroke_mm
                if inside and way * (start - place) >= BACK * line.stroke_mm:
                    break
        settle(job)
        outcome = job.axis.outcome()
        if outcome.ended == Ended.FAULT and outcome.cause in STUCK and _stronger(job):
            job.axis.clear()
        elif not job.hiccup(outcome):
            break
    refuse_fault(job, outcome, f"leaving the {NAMES[way]} end", KEPT)
