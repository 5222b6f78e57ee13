"""Sweeps from soft stop to soft stop at a set output, past every place that stops the rod."""

from __future__ import annotations

from dataclasses import replace

from rodbench_protocol.names import Ended, Fault

from rodbench.board import AxisSample, Outcome
from rodbench.errors import Refused
from rodbench.science.pot import BEGIN_S, DEPTH

from .job import BOARD_PERIOD_S, REST_PERIOD_S, failed, refuse_fault
from .pot_passage import clear, get_past
from .pot_work import FASTEST_MM_S, KEPT, OF_THE_POT, PASSAGES, Work, keep


def sweep(work: Work, way: int) -> None:
    """One way between the soft stops, past every place where a guard stops the rod."""
    output, speed = work.speed(way, FASTEST_MM_S)
    for _ in range(PASSAGES):
        work.budget.ensure((work.track.high_mm - work.track.low_mm) / speed, "a sweep")
        if not clear(work.job):
            return _bar(work, stuck=True)
        outcome = _leg(work, way, output)
        if outcome is None or work.job.hiccup(outcome) or outcome.ended == Ended.DUTY:
            continue
        place = work.stopped()
        goal = work.track.high_mm if way > 0 else work.track.low_mm
        if outcome.ended == Ended.SOFT_STOP and way * (goal - place) < _near(work, speed):
            return None
        _see_that_it_is_the_pot(work, outcome, place, way)
        if not _lost_contact(work, outcome, place):
            clear(work.job)
            continue
        work.stopped_at.append(place)
        if not get_past(work, way, place):
            break
    return _bar(work, stuck=not clear(work.job))


def _bar(work: Work, stuck: bool) -> None:
    """Note that there is no way through here, or not even a way back."""
    units = work.job.units
    place = work.stopped_at[-1] if work.stopped_at else work.stopped()
    work.blocked_at_mm, work.stuck = place, stuck
    way_on = "nor a way back" if stuck else "the other way next"
    work.job.say(f"       no way through at {units.length(place)}, {way_on}")


def _near(work: Work, speed: float) -> float:
    """Nearer than this to a soft stop a run has come to it: run-on and what the guard leaves."""
    live = work.job.live
    on = max(live["run_on_extend_um"], live["run_on_retract_um"]) / 1000.0
    return 2.0 + 2.5 * on + 0.05 * speed + work.allowed_mm


def _leg(work: Work, way: int, output: float) -> Outcome | None:
    """One run until it ends by itself; None when the board would not start it now."""
    job = work.job
    job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
    try:
        motion = job.axis.run(way * output)
    except Refused as error:
        if error.status_name == "outside":  # at its stop already, or a reading without contact
            return _outside(work, way)
        if error.status_name == "faulted":  # contact was lost since the clear: that says which
            return None
        raise
    seen: list[AxisSample] = []
    with motion:
        seen += job.samples(motion)
    keep(work, way, seen)
    return motion.ended or job.axis.outcome()


def _outside(work: Work, way: int) -> Outcome | None:
    place = work.here()
    goal = work.track.high_mm if way > 0 else work.track.low_mm
    if way * (goal - place) > 2.0:
        return None
    return replace(work.job.axis.outcome(), ended=int(Ended.SOFT_STOP))


def _see_that_it_is_the_pot(work: Work, outcome: Outcome, place: float, way: int) -> None:
    """Raise unless the end of this run can be a wiper without contact."""
    by_guard = outcome.ended == Ended.FAULT and outcome.cause in OF_THE_POT
    if not by_guard and outcome.ended != Ended.SOFT_STOP:
        refuse_fault(work.job, outcome, "sweeping", KEPT)
        raise failed(
            work.job,
            f"the sweep ended at {work.job.units.length(place)}: "
            f"{Ended(outcome.ended).name.lower().replace('_', ' ')}",
            "See that the rod is free, then start again.",
            KEPT,
        )
    last = work.sweeps[-1]
    if by_guard and len(last.mm) > 5 and way * (place - last.mm[0]) < -work.allowed_mm - 1.0:
        refuse_fault(work.job, outcome, "sweeping", KEPT)


def _lost_contact(work: Work, outcome: Outcome, place: float) -> bool:
    """Whether a run ended because the wiper had no contact; play and scatter at a reversal hold the
    pot still, or push it back, for a moment."""
    if outcome.ended == Ended.FAULT and outcome.cause == Fault.POT_NOT_FOLLOWING:
        return False
    last = work.sweeps[-1]
    if len(last.mm) > 2 and last.seconds[-1] - last.seconds[0] > BEGIN_S:
        return True
    open_mm = work.track.open_mm
    away = [abs(mm - open_mm) for mm in (*last.mm, work.mm(outcome.raw))]
    return min(away) < (1.0 - DEPTH) * abs(place - open_mm) - work.allowed_mm - 2.0
