"""The calibrate and propose steps of a rod without a pot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import Feedback

from rodbench.cli import steps
from rodbench.cli.keeper import FileKeeper
from rodbench.cli.options import Setup
from rodbench.errors import ProcedureError

if TYPE_CHECKING:
    from rodbench.bench.job import Job
    from rodbench.bench.two_wires_ends import Strokes
    from rodbench.bench.two_wires_propose import Limits


def is_for(job: Job) -> bool:
    """Whether the rod of the job has no pot."""
    return job.live["feedback"] == Feedback.NONE


def endpoints(setup: Setup, job: Job) -> Strokes:
    """Find both ends and take the time between them; kept in logbook and machine file."""
    from rodbench.bench import current, two_wires_ends
    from rodbench.bench.two_wires_direction import SeenDirection

    recall = "rodbench calibrate polarity"
    way = steps.recall(setup, job.number, "polarity", SeenDirection, recall)
    at_rest = current.measure(job)
    if at_rest.sensor is None:
        raise refusal(job, "without a current sensor nothing shows an end")
    stroke_mm = job.live["stroke_um"] / 1000
    found = two_wires_ends.find(job, at_rest, way.creep_output, stroke_mm)
    steps.keep(setup, job, "current", at_rest)
    steps.keep(setup, job, "endpoints", found)
    return found


def propose(setup: Setup, job: Job, fuse_a: float | None) -> Limits:
    """Trip and duty by what the calibrate steps found; said, sent nowhere."""
    from rodbench.bench import two_wires_propose
    from rodbench.bench.current import AtRest
    from rodbench.bench.duty_share import duty_of
    from rodbench.bench.two_wires_ends import Strokes

    known = steps.recall(setup, job.number, "current", AtRest, "rodbench calibrate current")
    strokes = steps.recall(setup, job.number, "endpoints", Strokes, "rodbench calibrate endpoints")
    keeper = FileKeeper(setup, job.board)
    duty = duty_of(keeper, job.number, keeper.rod_on(job.number) or "")
    found = two_wires_propose.propose(job, known, strokes, fuse_a, duty)
    two_wires_propose.say(job, found, strokes)
    return found


def refusal(job: Job, why: str) -> ProcedureError:
    """A step that such a rod cannot have."""
    return ProcedureError(
        f"axis {job.number}: the rod has no pot: {why}",
        kept="Nothing moved.",
        hint=f"`rodbench jog {job.number}` runs it while you hold a key.",
    )


def no_speed(job: Job) -> ProcedureError:
    """Why there is no speed step."""
    return ProcedureError(
        f"axis {job.number}: the rod has no pot: its speed is its stroke over the time from end to "
        "end",
        kept="Nothing moved.",
        hint=f"`rodbench calibrate endpoints {job.number}` takes that time.",
    )
