"""`proof`: an agreed set of strokes, what is required of them against what was measured.

The set: the rod's own ends found again at creep where that is allowed; a move each way between two
places; runs each way at a set output, which are quieter than moves and so what `compare` looks at;
and a short run each way at about half the speed, which with the fast ones tells the motor's
constants.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from rodbench.errors import ProcedureError
from rodbench.record.runs import Requirement, Run, Stroke, Writer
from rodbench.science.trapezoid import least_time

from . import cautions, ends_again
from .budget import Budget
from .ends_again import FoundAgain
from .job import Job, failed, rest_samples
from .pot_work import begin
from .proof_required import WAYS, Agreed, Seen, lines
from .strokes import Plan, go, make

SLOW_SHARE = 0.25  # of the way, for the slow runs
FAST_SHARE = 0.95  # of speed_max: runs at a set output are not held to a speed
LEAST_WAY_MM = 5.0
SLOW_SPEED = 0.5  # of the fast runs: far enough from them, and from where friction holds the rod
STARTS = 0.12  # of full output above the dead zone: what starts a rod that sticks a little
NOT_YET = "Nothing moved."
UNSEEN = "A pot that slipped as a whole cannot be seen then."


def planned_s(job: Job, agreed: Agreed) -> float:
    """Motor time in s of the whole proof."""
    strokes = sum(plan.need_s for plan in _plans(job, agreed))
    first = 0.6 * job.live["stroke_um"] / job.live["speed_max_um_s"]
    return strokes + first + (ends_again.planned_s(job) if agreed.find_ends else 0.0)


def refuse(job: Job) -> None:
    """Raise ProcedureError for an axis that has no strokes to prove."""
    if not job.has_pot:
        what, hint = "has no pot: its place is not known", "A proof needs a rod with a pot."
    elif not job.live["calibrated"]:
        what, hint = "is not calibrated", f"rodbench commission {job.number}"
    else:
        return
    raise ProcedureError(f"axis {job.number} {what}", kept=NOT_YET, hint=hint)


def prove(job: Job, agreed: Agreed, rod: str, writer: Callable[[], Writer]) -> Run:
    """Say the cost, take the caution, make the strokes, and keep the run; `writer` makes its folder
    once the caution is taken. No setting is changed for good.

    Raises ProcedureError and Faulted; what was recorded until then stays, as a run broken off.
    """
    refuse(job)
    if agreed.way_mm < LEAST_WAY_MM:
        what = f"less than {LEAST_WAY_MM:g} mm between the two places"
        raise failed(job, what, "[proof] from and to in the machine file", NOT_YET)
    Budget(job).say_cost(planned_s(job, agreed))
    if agreed.why_no_ends:
        job.say(f"       The rod's own ends are not sought: {agreed.why_no_ends}. {UNSEEN}")
    cautions.first_motion(job, rod, cautions.CRUSH if agreed.find_ends else cautions.CRUSH_MOUNTED)
    work = writer()
    with job.stopping():
        job.axis.clear()
        rest_v = _supply_v(job)
        ends = ends_again.find(job) if agreed.find_ends else None
        why = _why_no_strokes(job, agreed, ends)
        if why:
            job.say(f"       {why}")
        strokes = [] if why else _strokes(job, agreed, work.stroke)
    seen = _seen(strokes, ends, why)
    run = work.finish(
        axis=job.number, rod=rod, settings=job.board.digests()["live"],
        conditions=_conditions(job, agreed, rest_v, ends, why), required=lines(job, agreed, seen),
    )  # fmt: skip
    job.record("proof", {"axis": job.number, "run": run.name, "passed": run.passed,
                         "required": [_told(line) for line in run.required]})  # fmt: skip
    return run


def _strokes(job: Job, agreed: Agreed, keep: Callable[[Stroke], None]) -> list[Stroke]:
    go(job, agreed.low_mm)
    made = []
    for plan in _plans(job, agreed):
        job.say(f"       {plan.name}")
        made.append(make(job, plan, keep))
    return made


def _plans(job: Job, agreed: Agreed) -> list[Plan]:
    """All strokes, each beginning where the one before ended."""
    live, work = job.live, begin(job)
    speed, up, down = (
        live[key] / 1000.0 for key in ("speed_max_um_s", "acceleration_um_s2", "deceleration_um_s2")
    )
    move_s = least_time(agreed.way_mm, speed, up, down) + 1.0
    ends = {1: agreed.high_mm, -1: agreed.low_mm}
    slow_ends = {1: agreed.low_mm + SLOW_SHARE * agreed.way_mm, -1: agreed.low_mm}
    creep = live["creep_output_permille"] / 1000.0
    fast = {way: max(creep, _output(job, way, FAST_SHARE)) for way, _ in WAYS}
    slow = {way: min(fast[way], _output(job, way, FAST_SHARE * SLOW_SPEED)) for way, _ in WAYS}
    fast_s = agreed.way_mm / (FAST_SHARE * min(speed, *(work.speed(w, speed)[1] for w, _ in WAYS)))
    slow_s = SLOW_SHARE * fast_s / SLOW_SPEED + 1.0
    moves = [Plan(f"{word}-1", "move", way, ends[way], None, move_s) for way, word in WAYS]
    slows = [
        Plan(f"{word}-slow-1", "slow", way, slow_ends[way], slow[way], slow_s) for way, word in WAYS
    ]
    runs = [
        Plan(f"{word}-run-{number}", "run", way, ends[way], fast[way], fast_s + 1.0)
        for number in range(1, agreed.runs + 1)
        for way, word in WAYS
    ]
    # The slow ones between two halves of the fast ones: a motor that warms up is as warm in both.
    half = 2 * ((agreed.runs + 1) // 2)
    return [*moves, *runs[:half], *slows, *runs[half:]]


def _output(job: Job, way: int, share: float) -> float:
    """Output for a share of speed_max, by the dead zone and full speed that calibration measured;
    creep where it did not."""
    live, word = job.live, "extend" if way > 0 else "retract"
    full, dead = live[f"full_speed_{word}_um_s"], live[f"dead_zone_{word}_permille"] / 1000.0
    creep, most = live["creep_output_permille"] / 1000.0, live["output_max_permille"] / 1000.0
    if not full:
        return creep
    above = max(STARTS, (1.0 - dead) * share * live["speed_max_um_s"] / full)
    return round(min(most, dead + above), 3)


def _supply_v(job: Job) -> float:
    seen = rest_samples(job, 0.5)[1]
    return sum(s.supply_v for s in seen) / len(seen) if seen else float("nan")


def _why_no_strokes(job: Job, agreed: Agreed, ends: FoundAgain | None) -> str:
    """Why the strokes cannot be made: an end of the rod was found on their way."""
    if ends is None:
        return ""
    live, units = job.live, job.units
    out, back = live["run_on_extend_um"] / 1000.0, live["run_on_retract_um"] / 1000.0
    for name, found, room in (
        ("retracted", max(ends.retracted_mm), agreed.low_mm - back),
        ("extended", min(ends.extended_mm), agreed.high_mm + out),
    ):
        if (found > room) if name == "retracted" else (found < room):
            return (
                f"the rod's {name} end was found at {units.length(found)}, too near to the strokes "
                "or on their way: they are left out"
            )
    return ""


def _seen(strokes: list[Stroke], ends: FoundAgain | None, why: str) -> Seen:
    kinds = {kind: [s for s in strokes if s.facts["kind"] == kind] for kind in ("move", "run")}
    return Seen(kinds["move"], kinds["run"], ends, why)


def _conditions(
    job: Job, agreed: Agreed, rest_v: float, ends: FoundAgain | None, why: str
) -> dict[str, Any]:
    """What a later comparison needs beside the strokes."""
    scale, live = job.scale, job.live
    ratio = job.board_live["supply_ratio_x1000"] / 1000.0
    found = {} if ends is None else {
        "ends_retracted_mm": [round(mm, 4) for mm in ends.retracted_mm],
        "ends_extended_mm": [round(mm, 4) for mm in ends.extended_mm],
    }  # fmt: skip
    step = scale.current_step_a(live["current_uv_per_ma"] / 1000.0)
    return {
        "from_mm": agreed.low_mm,
        "to_mm": agreed.high_mm,
        "stroke_mm": live["stroke_um"] / 1000.0,
        "pot_span": round(abs(live["raw_extended"] - live["raw_retracted"]) / scale.pot, 6),
        "supply_rest_v": round(rest_v, 3),
        "supply_step_v": round(scale.reference_v / scale.steps * ratio, 5),
        "current_sensor": bool(live["current_sensor"]),
        "current_step_a": round(step, 6),
        "firmware": job.board.hello.firmware,
        "board_id": job.board.hello.board_id,
        "ends_found_again": ends is not None,
        "why_no_ends": agreed.why_no_ends,
        "why_no_strokes": why,
    } | found


def _told(line: Requirement) -> dict[str, Any]:
    return {"what": line.what, "required": line.required, "measured": line.measured,
            "unit": line.unit, "passed": line.passed}  # fmt: skip
