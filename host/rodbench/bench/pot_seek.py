"""The pot of an axis that could not be calibrated: swept at creep from end to end.

Ends are sought as `calibrate endpoints` seeks them, so this is for rods that are free on the bench.
Places are in mm from the end that retracts, once both ends are found.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rodbench_protocol.names import AxisState, Ended

from rodbench.board import AxisSample
from rodbench.clock import TICK_S
from rodbench.science.pot import Sweep, Track

from .ask import Question
from .budget import Budget
from .job import BOARD_PERIOD_S, REST_PERIOD_S, Job, failed, refuse_fault
from .label import BENCH, MOUNTED
from .pot_passage import clear
from .pot_work import KEPT, OF_THE_POT, PASSAGES, track_of

WAYS = (-1, 1, -1, 1)
LEAST_SPAN_RAW = 200
STUCK = (
    "it rests where the pot has no contact, and the board will not move it from there: replace the "
    "pot or the rod"
)


@dataclass(slots=True)
class EndToEnd:
    """What the sweeps gave: readings of each motion in raw, stops by guards, the ends' raw."""

    motions: list[tuple[int, list[AxisSample]]] = field(default_factory=list)
    stops: int = 0
    ends: dict[int, int] = field(default_factory=dict)

    def sweeps(self, job: Job) -> tuple[list[Sweep], Track]:
        """The same in mm, by the ends that were found."""
        per_raw = job.live["stroke_um"] / 1000.0 / (self.ends[1] - self.ends[-1])
        track = track_of(job, self.ends[-1], per_raw, 0.0, job.live["stroke_um"] / 1000.0)
        return [
            Sweep(
                way,
                [s.tick * TICK_S for s in seen],
                [(s.raw - self.ends[-1]) * per_raw for s in seen],
            )
            for way, seen in self.motions
        ], track


def refuse_mounted(job: Job) -> None:
    """Ends of a mounted rod are never sought. Raises ProcedureError for one."""
    question = Question(
        "mounting", "       Free on the bench or mounted?", choices=(BENCH, MOUNTED)
    )
    if job.asker.ask(question) != BENCH:
        raise failed(
            job,
            "it is not calibrated, and the ends of a mounted rod are not sought",
            f"rodbench calibrate endpoints {job.number} --by-hand, or take it off the machine",
            "Nothing moved.",
        )


def planned_s(job: Job) -> float:
    """Motor time in s, by the creep that is in force."""
    return (len(WAYS) - 0.5) * job.live["stroke_um"] / job.live["creep_speed_um_s"]


def end_to_end(job: Job) -> EndToEnd:
    """Sweep from end to end, past every place where a guard stops the rod.

    Raises ProcedureError where there is no way through, or an end is not found.
    """
    found, budget = EndToEnd(), Budget(job)
    for way in WAYS:
        _sweep(job, found, budget, way)
    if abs(found.ends[1] - found.ends[-1]) < LEAST_SPAN_RAW:
        raise failed(
            job, "both ends read alike: the pot tells nothing", "rodbench wire --identify", KEPT
        )
    return found


def _sweep(job: Job, found: EndToEnd, budget: Budget, way: int) -> None:
    for _ in range(PASSAGES):
        budget.ensure(planned_s(job) / len(WAYS), "a sweep")
        if not clear(job):
            raise failed(job, STUCK, "Push it on by hand, or with a battery.", KEPT)
        job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
        with job.axis.seek(way) as motion:
            seen = [s for s in job.samples(motion) if s.output and s.state == AxisState.SEEK]
        found.motions.append((way, seen))
        outcome = motion.ended or job.axis.outcome()
        if outcome.ended == Ended.END_FOUND:
            found.ends[way] = outcome.raw
            return
        if outcome.ended == Ended.FAULT and outcome.cause in OF_THE_POT:
            found.stops += 1
        elif outcome.ended != Ended.DUTY and not job.hiccup(outcome):
            refuse_fault(job, outcome, "sweeping", KEPT)
            raise failed(job, "an end was not found", "See that the rod is free.", KEPT)
    raise failed(job, "there is no way through to an end", "Replace the pot or the rod.", KEPT)
