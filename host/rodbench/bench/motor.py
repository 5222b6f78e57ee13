"""`measure motor`: steady runs at several outputs both ways, and what they tell of the motor."""

from __future__ import annotations

from rodbench.science.motor_fit import figures, figures_without_current, lifting, values
from rodbench.science.motor_report import Check, Known, MotorReport, checks

from . import cautions
from .budget import Budget
from .job import Job, failed
from .motor_ask import hang, sensor_error, turn_mm, weight_kg
from .motor_plan import KEPT, NOTHING, WITHIN, Course, course, dead_zone, forecast
from .motor_rest import Rest, at_rest
from .motor_runs import Work
from .speed import WORDS

GRAVITY = 9.80665


def measure(job: Job) -> MotorReport:
    """Ask, say the cost, take the caution, run, and reckon. No setting is changed.

    Raises ProcedureError for an axis that is not calibrated or that these runs do not tell, and for
    a caution that is not accepted; Faulted for a guard that trips.
    """
    _refuse(job)
    plan = course(job)
    has_sensor = bool(job.live["current_sensor"])
    kilograms = weight_kg(job) if has_sensor else 0.0
    turn = turn_mm(job) if has_sensor else 0.0
    error = sensor_error(job) if has_sensor else None
    with job.stopping():
        rest = at_rest(job)
        coarse = _say_forecast(job, plan, rest) if has_sensor else ()
        _agree(job, plan, loaded=kilograms > 0.0)
        work = Work(job, plan, rest)
        work.make(plan.free)
        if kilograms:
            hang(job)
            work.make(plan.loaded, loaded=True)
    report = _report(job, work, coarse, error, (kilograms * GRAVITY, turn))
    job.record("measure motor", {"axis": job.number, "found": report})
    return report


def beside(report: MotorReport) -> list[Check]:
    """What was found beside the settings."""
    return checks(report)


def _refuse(job: Job) -> None:
    if not job.has_pot:
        hint = f"`rodbench jog {job.number}` runs it while you hold a key."
        raise failed(job, "no pot is fitted: nothing tells the rod's speed", hint, NOTHING)
    if not job.live["calibrated"]:
        raise failed(
            job,
            "it is not calibrated: nothing tells the rod's speed, nor where to stop",
            f"rodbench commission {job.number}",
            NOTHING,
        )


# ---------------------------------------------------------------- before


def _say_forecast(job: Job, plan: Course, rest: Rest) -> tuple[str, ...]:
    expected = forecast(job, plan, rest.zero_sigma)
    if expected is None:
        return ()
    told = expected["resistance_ohm"].share
    if told <= WITHIN:
        job.say(f"       By noise and steps this should tell the resistance to {_percent(told)}.")
        return ()
    job.say(
        f"       ! Too coarse to tell the resistance, and with it the stall current, within "
        f"{_percent(WITHIN)}: the rod runs with so little current that {_percent(told)} is the "
        "best that its readings can do. A weight on the rod, or a finer sensor, tells more."
    )
    return "resistance_ohm", "stall_a"


def _percent(share: float) -> str:
    return f"+-{100 * share:.1f} %" if share < 1.0 else "no better than its own size"


def _agree(job: Job, plan: Course, *, loaded: bool) -> None:
    """The cost first, then the caution."""
    Budget(job).say_cost(plan.motor_s(loaded=loaded))
    job.say(cautions.CRUSH)
    job.say(cautions.FULL_SPEED)
    count = len(plan.free) + (len(plan.loaded) if loaded else 0)
    text = f"The rod runs {count} times to and fro, up to full output."
    cautions.consent(job, cautions.creep(text))


# ---------------------------------------------------------------- after


def _report(
    job: Job,
    work: Work,
    coarse: tuple[str, ...],
    error: float | None,
    load: tuple[float, float],
) -> MotorReport:
    has_sensor = bool(job.live["current_sensor"])
    try:
        runs = work.runs(error or 0.0, *load)
        found = values(runs, figures if has_sensor else figures_without_current)
    except ValueError as wrong:
        hint = "Look at the current sensor's wires and scale, and whether the rod runs freely."
        raise failed(job, f"{wrong}: nothing to reckon with", hint, KEPT) from None
    lifted = WORDS[lifting(runs)] if runs.force_n and has_sensor else ""
    return MotorReport(
        figures=found,
        points=runs.points,
        current_sensor=has_sensor,
        too_coarse=coarse,
        metered=bool(job.board_live["supply_calibrated"]),
        sensor_error=error,
        force_n=runs.force_n,
        lifted=lifted,
        turn_mm=runs.turn_mm,
        motor_s=work.motor_s,
        known=_known(job),
    )


def _known(job: Job) -> Known:
    """What the settings say of it."""
    live = job.live
    return Known(
        full_speed_mm_s=(
            live["full_speed_extend_um_s"] / 1e3,
            live["full_speed_retract_um_s"] / 1e3,
        ),
        speed_supply_v=(live["speed_supply_mv"] or job.board_live["supply_nominal_mv"]) / 1e3,
        dead_zone=(dead_zone(job, 1), dead_zone(job, -1)),
        stall_a=live["stall_ma"] / 1e3,
        trip_a=live["trip_ma"] / 1e3,
    )


__all__ = ["MotorReport", "beside", "measure"]
