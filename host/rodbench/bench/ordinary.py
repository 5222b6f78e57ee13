"""A rod with a pot, free on the bench: from sensors at rest to the trial."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import cautions, current, edge, endpoints, onboard, polarity, speed, trial
from . import propose as proposing
from .budget import Budget
from .current import AtRest
from .duty_share import duty_of
from .endpoints import Endpoints
from .job import Job, failed
from .keeper import Keeper
from .label import Label
from .polarity import Polarity
from .propose import Proposed
from .speed import Speeds
from .straight import check_between
from .trial import Trial

TRIAL_GUESS_S = 60.0


@dataclass(frozen=True, slots=True)
class Commissioned:
    """Everything learned about one rod, and the axis's settings as they are on the board."""

    axis: int
    label: Label
    at_rest: AtRest
    polarity: Polarity
    ends: Endpoints
    speeds: Speeds
    proposed: Proposed
    settings: dict[str, int]
    file_only: dict[str, object]
    notes: dict[str, str]
    digest: int
    trial: Trial


def commission(job: Job, keeper: Keeper, label: Label) -> Commissioned:
    """Sections 2 to 8 for a rod that may run from end to end.

    Raises ProcedureError when the person leaves the proposal, or a finding forbids to go on.
    """
    assert label.stroke_mm is not None
    _say_cost(job, label.stroke_mm)
    cautions.first_motion(job, label.rod)
    at_rest = edge.leave(job, current.measure(job), label.stroke_mm)
    way = polarity.find(job, at_rest)
    ends = endpoints.find(job, at_rest, way, label.stroke_mm)
    return finish(job, keeper, label, at_rest, way, ends, between(job, label, ends))


def between(job: Job, label: Label, ends: Endpoints) -> Callable[[], None]:
    """What there is to check between the ends: the tape, where the pot follows unevenly."""
    short_mm = label.retracted_pin_to_pin_mm
    if short_mm is None or not ends.uneven:
        return _nothing
    return lambda: check_between(job, ends, short_mm)


def _nothing() -> None:
    """Nothing to check between the ends."""


def finish(
    job: Job,
    keeper: Keeper,
    label: Label,
    at_rest: AtRest,
    way: Polarity,
    ends: Endpoints,
    look_between: Callable[[], None] = _nothing,
) -> Commissioned:
    """Sections 5 to 8, once the ends are known and provisional soft stops are in force.

    `look_between` is called while the rod rests somewhere between its ends, before anything is
    proposed.
    """
    job.say(" 5 Speed")
    job.say(cautions.FULL_SPEED)
    cautions.consent(job, cautions.full_speed())
    speeds = speed.measure(job, at_rest, ends)
    look_between()
    duty = duty_of(keeper, job.number, label.rod)
    known = proposing.learned(job, at_rest, ends, speeds, fuse_a=label.fuse_a, duty=duty)
    proposed = proposing.propose(job, known)
    working_mm = ends.working_mm or (None, None)
    agreed = proposing.agree(job, proposed, fuse_a=label.fuse_a, working_mm=working_mm)
    if agreed is None:
        raise failed(
            job,
            "the proposal was left",
            "Nothing of it is kept: `rodbench commission` again. `edit` changes single limits.",
        )
    file_only = ends.file_only() | label.file_only()
    notes: dict[str, str] = {}
    for part in (label, at_rest, way, ends, speeds, agreed):
        notes |= part.notes()
    values = agreed.settings() | {"calibrated": 1}
    stored = onboard.put(job, keeper, label, values, file_only, notes)
    done = Commissioned(
        job.number, label, at_rest, way, ends, speeds, agreed,
        stored.settings, file_only, notes, stored.digest, trial.run(job),
    )  # fmt: skip
    job.record("commission", {"axis": job.number, "found": done})
    onboard.say_end(job, label)
    return done


def _say_cost(job: Job, stroke_mm: float) -> None:
    """A guess before the first motion; each step says its own once more is known."""
    creep_raw_s = job.scale.pot / polarity.CROSSING_S
    ends_s = endpoints.planned_s(creep_raw_s, job.scale.pot / 2, job.scale.pot)
    fast_s = speed.planned_s(stroke_mm, stroke_mm / polarity.CROSSING_S, 0.3)
    motor_s = polarity.MOST_S + ends_s + fast_s + TRIAL_GUESS_S
    Budget(job).say_cost(motor_s, "at most, less for a quick rod")
