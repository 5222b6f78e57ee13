"""A rod with two wires: nothing tells its position.

With a current sensor, and free on the bench, its ends are found by the current, confirmed by a
person, and the time from end to end is taken. Else it is hold-to-run only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from rodbench_protocol.names import Ended
from rodbench_protocol.settings import defaults

from rodbench.board import Motion, Outcome

from . import cautions, current, onboard, two_wires_direction, two_wires_ends
from . import two_wires_propose as proposing
from .budget import Budget
from .current import AtRest
from .duty_share import duty_of
from .job import (
    BOARD_PERIOD_S,
    SLOW_PERIOD_S,
    STORED,
    Job,
    failed,
    follow,
    refuse_fault,
    settle,
)
from .keeper import Keeper
from .label import BENCH, Label
from .two_wires_direction import SeenDirection
from .two_wires_ends import NAMES, Strokes
from .two_wires_propose import Limits

# Keys of positions and of guards that go by them: left at their defaults, out of the machine file.
# The stall time is among them: its default is how long the current must show an end.
OF_A_POT = (
    "raw_retracted", "raw_extended", "soft_stop_min_um", "soft_stop_max_um", "speed_max_um_s",
    "acceleration_um_s2", "deceleration_um_s2", "creep_speed_um_s", "full_speed_extend_um_s",
    "full_speed_retract_um_s", "speed_supply_mv", "dead_zone_extend_permille",
    "dead_zone_retract_permille", "run_on_extend_um", "run_on_retract_um", "noise_x16",
    "pot_margin_raw", "move_hold_ms", "stall_time_ms",
)  # fmt: skip
TRIES = 3


@dataclass(frozen=True, slots=True)
class Trial:
    """Times in s of one run each way (extend, retract)."""

    time_s: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TwoWires:
    """All that was learned of a rod without a pot; no `strokes`, no `trial`: hold-to-run only."""

    axis: int
    label: Label
    at_rest: AtRest
    direction: SeenDirection
    strokes: Strokes | None
    limits: Limits
    settings: dict[str, int]
    file_only: dict[str, object]
    notes: dict[str, str]
    digest: int
    trial: Trial | None


def commission(job: Job, keeper: Keeper, label: Label) -> TwoWires:
    """Sections 2 to 8. Raises ProcedureError when the person leaves the proposal, or a finding
    forbids to go on; before section 7 nothing is stored."""
    assert label.stroke_mm is not None
    timed = bool(label.sensor_v_per_a) and label.place == BENCH
    _say_plan(job, label, timed)
    cautions.first_motion(job, label.rod)
    job.commit(_of_a_pot())
    at_rest = current.measure(job)
    way = two_wires_direction.find(job, at_rest, third_look=not timed)
    strokes = None
    duty = duty_of(keeper, job.number, label.rod)
    if timed:
        strokes = two_wires_ends.find(job, at_rest, way.creep_output, label.stroke_mm)
        limits = proposing.propose(job, at_rest, strokes, label.fuse_a, duty)
    else:
        limits = proposing.without_runs(job, duty)
    agreed = proposing.agree(job, limits, strokes)
    if agreed is None:
        raise failed(job, "the proposal was left", "Start again when you are ready.")
    return _finish(job, keeper, label, at_rest, way, strokes, agreed)


def _of_a_pot() -> dict[str, int]:
    known = defaults("axis")
    return {key: known[key] for key in OF_A_POT}


def _say_plan(job: Job, label: Label, timed: bool) -> None:
    if timed:
        assert label.stroke_mm is not None
        motor_s = two_wires_direction.MOST_S + two_wires_ends.planned_s(
            two_wires_ends.guess_s(label.stroke_mm)
        )
        Budget(job).say_cost(motor_s, "for a slow rod, less for a quick one")
        return
    why = (
        "mounted, and nothing could stop it short of the machine's ends"
        if label.sensor_v_per_a
        else "without pot and current sensor nothing shows an end, a jam or a stall"
    )
    job.say(f"       Hold-to-run only: {why}.")
    job.say("       It runs at creep, while somebody holds a key and watches it.")


def _finish(
    job: Job,
    keeper: Keeper,
    label: Label,
    at_rest: AtRest,
    way: SeenDirection,
    strokes: Strokes | None,
    limits: Limits,
) -> TwoWires:
    """Sections 7 and 8."""
    notes = at_rest.notes() | way.notes() | (strokes.notes() if strokes else {}) | limits.notes()
    notes = {key: note for key, note in notes.items() if key not in OF_A_POT}
    file_only = label.file_only() | (strokes.file_only() if strokes else {})
    values = limits.settings() | _of_a_pot()
    if strokes is None:
        values |= {"stroke_time_extend_cs": 0, "stroke_time_retract_cs": 0, "running_ma": 0}
    stored = onboard.put(job, keeper, label, values, file_only, notes)
    tried = trial(job, strokes) if strokes else None
    done = TwoWires(
        job.number, label, at_rest, way, strokes, limits,
        stored.settings, file_only, notes, stored.digest, tried,
    )  # fmt: skip
    job.record("commission", {"axis": job.number, "found": done})
    what = "runs to its ends, which the current shows" if strokes else "runs while it is held"
    onboard.say_end(job, label, what)
    return done


def trial(job: Job, strokes: Strokes) -> Trial:
    """Run to both ends once, from one that creep has shown. Raises Faulted, ProcedureError."""
    with job.stopping():
        budget = Budget(job)
        budget.ensure(max(strokes.creep_time_s) + sum(strokes.time_s) + 4.0, "the trial")
        two_wires_ends.leave(job.axis, strokes.creep_output)
        _go(job, partial(job.axis.seek, -1), "the trial")  # a start forgets where the rod is
        times = {way: _run(job, way) for way in (1, -1)}
    found = Trial((times[1], times[-1]))
    out, back = found.time_s
    job.say(f" 8 Trial           to both ends: {out:.1f} s out, {back:.1f} s in, no trip")
    job.record("trial", {"axis": job.number, "found": found})
    return found


def _run(job: Job, way: int) -> float:
    """Motor time in s of a run to an end."""
    doing = f"running to the {NAMES[way]} end"
    outcome = _go(job, partial(job.axis.run_to_end, way), doing)
    if outcome.ended != Ended.END_FOUND:
        raise failed(
            job,
            f"{doing} ended otherwise: {Ended(outcome.ended).name.lower()}",
            f"rodbench move {job.number} {NAMES[way]}",
            STORED,
        )
    return outcome.on_time_s


def _go(job: Job, start: Callable[[], Motion], doing: str) -> Outcome:
    """A motion to its end; again when this computer was busy for a moment. Raises Faulted."""
    for _ in range(TRIES):
        job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        with start() as motion:
            follow(job, motion)
        settle(job)
        outcome = job.axis.outcome()
        if not job.hiccup(outcome):
            break
    refuse_fault(job, outcome, doing, STORED)
    return outcome
