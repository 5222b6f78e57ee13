"""Recorded strokes of a calibrated axis: moves, and runs at a set output, with the rest around."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from rodbench_protocol.names import Ended

from rodbench.board import AxisSample, BoardSample, Outcome, Sample
from rodbench.clock import TICK_S
from rodbench.record.runs import Stroke
from rodbench.science.stroke_figures import Recorded, figures

from .budget import Budget
from .job import REST_PERIOD_S, Job, failed, refuse_fault

SUPPLY_PERIOD_S = 0.05
REST_S = 0.6  # before and after each stroke, in its table
TRIES = 4
KEPT = "The rod is stopped; no setting was changed. The run counts as broken off."
Keep = Callable[[Stroke], None]
Row = tuple[int, float, float, float, float]
GOOD = (Ended.REACHED, Ended.SOFT_STOP, Ended.STOPPED)


@dataclass(frozen=True, slots=True)
class Plan:
    """One stroke to make: `output` None is a move, at the speed of the settings."""

    name: str
    kind: str
    way: int
    target_mm: float
    output: float | None = None
    need_s: float = 10.0

    def facts(self) -> dict[str, Any]:
        """What the record says was asked for."""
        asked = None if self.output is None else round(1000 * self.output)
        return {"kind": self.kind, "way": self.way, "target_mm": round(self.target_mm, 3)} | (
            {} if asked is None else {"output_asked_permille": self.way * asked}
        )


def make(job: Job, plan: Plan, keep: Keep) -> Stroke:
    """Make one stroke and keep it; again when this computer was busy for a moment, or the duty
    budget was spent on the way.

    Raises Faulted when a guard trips, ProcedureError when it ends otherwise than it should; the
    stroke is kept all the same.
    """
    for number in range(TRIES):
        start_mm = _position(job)
        _allow(job, plan, start_mm)
        stroke, outcome = _recorded(job, plan, again=number)
        if job.hiccup(outcome):
            job.axis.clear()  # the board latches a move that its host fell silent in
        elif outcome.ended != Ended.DUTY:
            keep(stroke)
            _refuse(job, plan, outcome)
            return stroke
        go(job, start_mm)
    raise failed(job, "the strokes break off again and again", "Is this computer too busy?", KEPT)


def _allow(job: Job, plan: Plan, start_mm: float) -> None:
    """Rest until the stroke may begin."""
    budget = Budget(job)
    least_s = budget.move_s(abs(plan.target_mm - start_mm)) if plan.output is None else 0.0
    budget.ensure(max(plan.need_s, least_s), "the next stroke")


def go(job: Job, target_mm: float, kept: str = KEPT) -> None:
    """Move somewhere, unrecorded; rests where the duty budget asks for it."""
    budget = Budget(job)
    for _ in range(TRIES):
        budget.ensure(budget.move_s(abs(target_mm - _position(job))), "the way there")
        with job.axis.move(target_mm) as motion:
            for _ in job.samples(motion):
                pass
        outcome = job.axis.outcome()
        if not job.hiccup(outcome):
            break
        job.axis.clear()
    where = job.units.length(target_mm)
    refuse_fault(job, outcome, f"moving to {where}", kept)
    if outcome.ended not in GOOD:
        raise failed(job, f"the move to {where} {_ended(outcome)}", "See that it is free.", kept)


def _refuse(job: Job, plan: Plan, outcome: Outcome) -> None:
    doing = f"the stroke {plan.name}"
    refuse_fault(job, outcome, f"making {doing}", KEPT)
    if outcome.ended not in GOOD:
        raise failed(job, f"{doing} {_ended(outcome)}", "See that the rod is free.", KEPT)


def _ended(outcome: Outcome) -> str:
    return f"ended otherwise: {Ended(outcome.ended).name.lower().replace('_', ' ')}"


def _position(job: Job) -> float:
    sample = job.axis.sample()
    return 0.0 if sample.position_mm is None else sample.position_mm


def _recorded(job: Job, plan: Plan, again: int) -> tuple[Stroke, Outcome]:
    job.board.subscribe(REST_PERIOD_S, SUPPLY_PERIOD_S)
    with _listening(job) as rows:
        job.board.sleep(REST_S)
        _move(job, plan)
        outcome = job.axis.outcome()
        job.board.sleep(REST_S)
    facts = plan.facts() | {"ended": Ended(outcome.ended).name.lower().replace("_", "-")}
    if again:
        facts["repeated"] = again
    return _stroke(job, plan, facts, rows), outcome


def _move(job: Job, plan: Plan) -> None:
    """Run until the target is passed, or move to it."""
    axis = job.axis
    start = axis.move(plan.target_mm) if plan.output is None else axis.run(plan.way * plan.output)
    with start as motion:
        for sample in job.samples(motion):
            place = plan.target_mm if sample.position_mm is None else sample.position_mm
            if plan.output is not None and plan.way * (place - plan.target_mm) >= 0.0:
                break


@contextmanager
def _listening(job: Job) -> Iterator[list[Row]]:
    """Rows of the axis while this lasts, each with the supply as last heard."""
    rows: list[Row] = []
    supply = [float("nan")]

    def hear(sample: Sample) -> None:
        if isinstance(sample, BoardSample):
            supply[0] = sample.supply_v
        elif isinstance(sample, AxisSample) and sample.axis == job.number:
            place = float("nan") if sample.position_mm is None else sample.position_mm
            rows.append((sample.tick, place, sample.current_a, 1000 * sample.output, supply[0]))

    job.board.listeners.append(hear)
    try:
        yield rows
    finally:
        job.board.listeners.remove(hear)


def _stroke(job: Job, plan: Plan, facts: Mapping[str, Any], rows: list[Row]) -> Stroke:
    table = np.array(rows, dtype=np.float64).reshape(-1, 5)
    table[:, 0] = (table[:, 0] - (table[0, 0] if len(rows) else 0.0)) * TICK_S
    stroke = Stroke(plan.name, facts, *(np.ascontiguousarray(column) for column in table.T))
    if len(rows) < 2:
        return stroke
    found = figures(recorded(stroke), plan.target_mm, job.live["trip_ms"] / 1000.0)
    told = {key: round(v, 4) for key, v in asdict(found).items() if v is not None}
    return Stroke(plan.name, {**facts, **told}, *columns(stroke))


def columns(stroke: Stroke) -> tuple[Any, Any, Any, Any, Any]:
    """The five columns in their order."""
    return (
        stroke.t_s, stroke.position_mm, stroke.current_a, stroke.output_permille, stroke.supply_v
    )  # fmt: skip


def recorded(stroke: Stroke) -> Recorded:
    """A stroke as science wants it."""
    return Recorded(int(stroke.facts["way"]), *columns(stroke))
