"""The trial: to both soft stops and the middle, watched against what was promised."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench_protocol.names import Ended

from rodbench.board import AxisSample, Outcome
from rodbench.science.trapezoid import least_time

from .budget import Budget
from .job import (
    BOARD_PERIOD_S,
    REST_PERIOD_S,
    STORED,
    Job,
    failed,
    refuse_fault,
    rest_samples,
)

HICCUPS = 3


@dataclass(frozen=True, slots=True)
class Trial:
    """Targets and where the rod came to rest, in mm; the furthest past a soft stop, in mm."""

    targets_mm: tuple[float, ...]
    rests_mm: tuple[float, ...]
    past_soft_stop_mm: float

    @property
    def worst_mm(self) -> float:
        """The greatest distance between a target and its rest."""
        return max(abs(t - r) for t, r in zip(self.targets_mm, self.rests_mm, strict=True))


def planned_s(job: Job) -> float:
    """Motor time of the trial in s, from the settings in force."""
    low, high = job.live["soft_stop_min_um"], job.live["soft_stop_max_um"]
    one = least_time(
        float(high - low),
        float(job.live["speed_max_um_s"]),
        float(job.live["acceleration_um_s2"]),
        float(job.live["deceleration_um_s2"]),
    )
    first = (high - low) * 0.02 / job.live["creep_speed_um_s"]
    return 2.6 * one + first + 6.0


def run(job: Job) -> Trial:
    """Move to the lower stop, the upper, and the middle. Raises Faulted for a trip, ProcedureError
    for a move that did not come to rest."""
    with job.stopping():
        low, high = job.live["soft_stop_min_um"] / 1000, job.live["soft_stop_max_um"] / 1000
        targets = (low, high, (low + high) / 2)
        seen: list[float] = []
        rests = []
        for target in targets:
            Budget(job).ensure(planned_s(job) / 2, "the trial")
            rests.append(_arrive(job, target, seen))
    past = max(0.0, low - min(seen), max(seen) - high) if seen else 0.0
    found = Trial(targets, tuple(rests), past)
    _say(job, found)
    job.record("trial", {"axis": job.number, "found": found})
    return found


def _arrive(job: Job, target_mm: float, seen: list[float]) -> float:
    """Where the rod rests, in mm; asked again when this computer was busy for a moment."""
    outcome = _move(job, target_mm, seen)
    for _ in range(HICCUPS):
        if not job.hiccup(outcome):
            break
        job.axis.clear()  # the board latches a move that its host fell silent in
        outcome = _move(job, target_mm, seen)
    where = job.units.length(target_mm)
    refuse_fault(job, outcome, f"moving to {where}", STORED)
    if outcome.ended not in (Ended.REACHED, Ended.SOFT_STOP):
        raise failed(
            job,
            f"the move to {where} ended otherwise: {Ended(outcome.ended).name.lower()}",
            f'rodbench move {job.number} "{where}"',
            STORED,
        )
    after: list[AxisSample] = rest_samples(job, 0.3)[0]
    rest_mm = sum(s.position_mm or 0.0 for s in after) / len(after)
    seen.append(rest_mm)
    return rest_mm


def _move(job: Job, target_mm: float, seen: list[float]) -> Outcome:
    job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
    inside = len(seen) > 0  # before the first rest the rod may come from outside
    with job.axis.move(target_mm) as motion:
        for sample in job.samples(motion):
            if inside and sample.position_mm is not None:
                seen.append(sample.position_mm)
    return job.axis.outcome()


def _say(job: Job, found: Trial) -> None:
    units = job.units
    targets = " -> ".join(units.number(t) for t in found.targets_mm)
    rests = ", ".join(units.number(r) for r in found.rests_mm)
    stops = (
        "no soft stop passed"
        if found.past_soft_stop_mm < 0.05
        else f"a soft stop passed by {units.fine(found.past_soft_stop_mm)} as the board sees it"
    )
    job.say(f" 8 Trial           move {targets} {units.name}: rests {rests}, {stops}, no trip")
