"""Short runs to and fro at a sound place: play at a reversal, and how one place repeats."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import hypot

from rodbench_protocol.names import Ended

from rodbench.board import AxisSample
from rodbench.clock import TICK_S
from rodbench.errors import Refused
from rodbench.science.pot import Repeat, Start, Sweep, Zone, behind, repeat

from .job import BOARD_PERIOD_S, REST_PERIOD_S, refuse_fault
from .pot_passage import clear, get_past
from .pot_work import KEPT, OF_THE_POT, PASSAGES, REST_S, Work, changed

ONWARD, TURNS = 3, 30  # short runs: so many on, so many back, then to and fro
RUN_MM = 7.0
RUN_S = 0.7
SETTLED = 0.5  # share of a short run after which its line is drawn
REST_READINGS = 25  # averaged before each start
STALL_MS = 1000  # at a reversal the pot stands still for a while: play


def run_mm(work: Work, free_mm: float | None = None) -> float:
    """Length of a short run, so that those on end fit."""
    free = work.track.high_mm - work.track.low_mm if free_mm is None else free_mm
    return min(RUN_MM, free / (ONWARD + 1.5))


def turns(work: Work, found: list[Zone]) -> Repeat | None:
    """Short runs on and back at a sound place; None where there is none, or too few came out."""
    low, high = _sound_part(work, found)
    length = run_mm(work, high - low)
    if length < 2.5 * work.track.noise_mm + 2.0 or work.blocked_at_mm is not None:
        return None
    _go_to(work, (low + high - ONWARD * length) / 2.0)
    patient = {"stall_time_ms": max(work.job.live["stall_time_ms"], STALL_MS)}
    try:
        with changed(work.job, patient):
            return repeat(_starts(work, length))
    except ValueError:
        return None


def _starts(work: Work, length: float) -> list[Start]:
    ways = [1] * ONWARD + [-1] * ONWARD + [1, -1] * (TURNS // 2)
    starts = []
    for before, way in pairwise([0, *ways]):
        one = _short_run(work, way, before, length)
        if one is not None and before:
            starts.append(one)
    return starts


def _sound_part(work: Work, found: list[Zone]) -> tuple[float, float]:
    track = work.track
    edges = [track.low_mm, *(e for z in found for e in (z.from_mm, z.to_mm)), track.high_mm]
    return max(zip(edges[::2], edges[1::2], strict=True), key=lambda part: part[1] - part[0])


def _go_to(work: Work, goal: float) -> None:
    """Run to a place, past every place without contact."""
    way = 1 if work.here() < goal else -1
    output, speed = work.speed(way, RUN_MM / RUN_S)
    for _ in range(PASSAGES):
        place = work.here()
        if way * (goal - place) < 1.0:
            return
        work.budget.ensure(abs(goal - place) / speed + 1.0, "going to mid way")
        if _run_until(work, way, output, lambda mm: way * (mm - goal) >= 0.0) is None:
            get_past(work, way, work.here())


def _short_run(work: Work, way: int, before: int, length: float) -> Start | None:
    """One short run; None when it tells nothing."""
    output, speed = work.speed(way, RUN_MM / RUN_S)
    work.budget.ensure(length / speed + 1.0, "the short runs")
    rest = work.here()
    found = _run_until(work, way, output, lambda mm: way * (mm - rest) >= length)
    if found is None:
        clear(work.job)
        return None
    seen, start = found
    run = Sweep(way, [s.tick * TICK_S for s in seen], [work.mm(s.raw) for s in seen])
    try:
        lag, error = behind(run, rest, start * TICK_S, SETTLED * length)
    except ValueError:
        return None
    return Start(way, way != before, lag, hypot(error, work.track.noise_mm / REST_READINGS**0.5))


def _run_until(
    work: Work, way: int, output: float, there: Callable[[float], bool]
) -> tuple[list[AxisSample], int] | None:
    """Run until a place is reached, stop at once; the samples with output on, and the start. None
    when a guard that judges by the pot ended it, or does not let it begin."""
    job = work.job
    job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
    seen: list[AxisSample] = []
    try:
        motion = job.axis.run(way * output)
    except Refused as error:
        if error.status_name == "faulted":  # contact was lost at rest
            return None
        raise
    with motion:
        start = motion.start_tick
        for sample in job.samples(motion):
            if sample.output != 0.0:
                seen.append(sample)
            if there(work.mm(sample.raw)):
                break
        outcome = motion.ended or motion.stop(category=0)
    job.board.sleep(REST_S)
    if outcome.ended == Ended.FAULT and outcome.cause in OF_THE_POT:
        return None
    refuse_fault(job, outcome, "running to and fro", KEPT)
    return seen, start
