"""A short run at a set output: what finding the direction is made of."""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean

from rodbench_protocol.names import Ended

from rodbench.board import AxisSample

from .job import Job, cause_words, follow, settle


def jog(
    job: Job, output: float, seconds: float, inside: Callable[[float], bool] | None = None
) -> list[AxisSample]:
    """Jog for `seconds` or while the pot's raw is `inside`, and come to rest. A guard that ends it
    is said and cleared: the samples tell the caller what came of the run."""
    creep = round(1000 * abs(output))
    if job.live["creep_output_permille"] != creep:
        job.commit({"creep_output_permille": creep})
    with job.axis.jog_output(output) as motion:
        samples = follow(job, motion, seconds, inside)
    settle(job)
    outcome = job.axis.outcome()
    if outcome.ended == Ended.FAULT:
        job.say(f"       the board stopped the run: {cause_words(outcome)}")
        job.axis.clear()
    return samples


def current_a(samples: list[AxisSample]) -> float:
    """Mean current in A once the start is over."""
    driven = [s.current_a for s in samples[len(samples) // 3 :] if s.output != 0.0]
    return fmean(driven) if driven else 0.0
