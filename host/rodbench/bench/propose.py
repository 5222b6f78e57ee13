"""The proposal: limits with reasons. Nothing goes to the board before the person accepts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from rodbench.errors import Refused
from rodbench.science.ends import End
from rodbench.science.proposal import Duty, Learned, Proposal
from rodbench.science.proposal import propose as reckon
from rodbench.science.stall import (
    Point,
    Stall,
    behind_source,
    believable,
    from_running,
    from_stalled,
)
from rodbench.settings.limits import Ends, wrong_limits

from .ask import Kind, Question
from .current import AtRest, sensor_top_a
from .duty_share import note
from .endpoints import Endpoints
from .guarded import not_guarded
from .job import Job, failed
from .scale import kind_of
from .speed import Speeds

EDITS = (  # field, words, unit, row of the table
    ("soft_stop_min_mm", "Lower soft stop", "mm", "soft stops"),
    ("soft_stop_max_mm", "Upper soft stop", "mm", "soft stops"),
    ("speed_max_mm_s", "Greatest speed", "mm/s", "speed, ramps"),
    ("acceleration_mm_s2", "Ramp up", "mm/s2", "speed, ramps"),
    ("deceleration_mm_s2", "Ramp down", "mm/s2", "speed, ramps"),
    ("trip_a", "Current trip", "A", "trip"),
    ("stall_time_ms", "Stall time", "ms", "stall time"),
    ("duty_share", "Duty, share of the window", "", "duty"),
    ("duty_window_min", "Duty window", "min", "duty"),
)
FOLLOWING_PER_S = 5.0  # of the board's following term, with what its filter lets through of noise
EDIT_TRIES = 3  # refused edits before the proposal is given up
DWELL_MOST_S = 5.0  # the longest stall time that the board takes
LENGTHS = {"mm": "in", "mm/s": "in/s", "mm/s2": "in/s2"}


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal beside the stall estimate that it rests on."""

    proposal: Proposal
    stall: Stall | None

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        p = self.proposal
        keys = {
            "soft_stop_min_um": round(1000 * p.soft_stop_min_mm),
            "soft_stop_max_um": round(1000 * p.soft_stop_max_mm),
            "speed_max_um_s": max(200, round(1000 * p.speed_max_mm_s)),
            "acceleration_um_s2": max(500, round(1000 * p.acceleration_mm_s2)),
            "deceleration_um_s2": max(500, round(1000 * p.deceleration_mm_s2)),
            "stall_time_ms": p.stall_time_ms,
            "duty_share_permille": round(1000 * p.duty_share),
            "duty_window_s": round(60 * p.duty_window_min),
            "stall_ma": 0
            if self.stall is None
            else min(60_000, round(1000 * self.stall.current_a)),
        }
        if p.trip_a is not None:
            keys["trip_ma"] = round(1000 * p.trip_a)
        if p.following_mm is not None:
            keys["following_um"] = round(1000 * p.following_mm)
        return keys

    def notes(self) -> dict[str, str]:
        """Reasons for the machine file, by axis key."""
        reasons = self.proposal.reasons
        return {
            "soft_stop_min_um": reasons["soft stops"],
            "speed_max_um_s": reasons["speed, ramps"],
            "trip_ma": reasons["trip"],
            "following_um": reasons["falls behind"],
            **note(reasons["duty"]),
        }


def stall_estimate(
    at_rest: AtRest, ends: Endpoints, speeds: Speeds, nominal_v: float
) -> Stall | None:
    """Stall current on this supply: from a stall at creep where an end gave one, else from two
    running points; None when neither is believable."""
    if at_rest.sensor is None:
        return None
    supply = at_rest.supply_v or nominal_v
    source_ohm = speeds.sag_v / max(speeds.running_a) if max(speeds.running_a) > 0.0 else 0.0
    # The mean of many readings still carries the sensor's step and its zero.
    sigma = at_rest.current_step_a / 2
    found = _from_ends(ends, supply, source_ohm, sigma) or _from_creep(
        ends, speeds, supply, source_ohm, sigma
    )
    full = Point(speeds.output * speeds.supply_v, max(speeds.running_a), max(speeds.speed_mm_s))
    good = [
        sure
        for stall in found
        if stall and (sure := believable(behind_source(stall, supply, source_ohm), full))
    ]
    return min(good, key=lambda stall: stall.sigma_a, default=None)


def _at_motor(output: float, supply_v: float, source_ohm: float, current_a: float) -> float:
    """Volts at the motor: the bridge draws `output` times the motor's current from the supply."""
    return output * (supply_v - source_ohm * output * current_a)


def _from_ends(
    ends: Endpoints, supply: float, source_ohm: float, sigma: float
) -> list[Stall | None]:
    """From ends where the motor stalled; the retracted one was reached by retracting."""
    return [
        from_stalled(Point(_at_motor(output, supply, source_ohm, amps), amps, 0.0), supply, sigma)
        for amps, kind, output in zip(ends.stopped_a, ends.kinds, ends.stopped_output, strict=True)
        if kind == End.STALL
    ]


def _from_creep(
    ends: Endpoints, speeds: Speeds, supply: float, source_ohm: float, sigma: float
) -> list[Stall | None]:
    found: list[Stall | None] = []
    for way in (0, 1):
        creep_a = ends.creep_a[way]
        volts = _at_motor(ends.creep_output[way], supply, source_ohm, creep_a)
        creep = Point(volts, creep_a, ends.creep_mm_s[way])
        measured = speeds.output * speeds.supply_v
        zone = speeds.dead_zone[way]
        speed = speeds.speed_mm_s[way] * (speeds.output - zone) / (1.0 - zone)
        full = Point(measured, speeds.running_a[way], speed)
        found.append(from_running(creep, full, supply, sigma, 0.02 * ends.creep_mm_s[way]))
    return found


def learned(
    job: Job,
    at_rest: AtRest,
    ends: Endpoints,
    speeds: Speeds,
    *,
    fuse_a: float | None,
    duty: Duty,
) -> Learned:
    """What the proposal starts from, put together from the results of the procedures."""
    has_sensor = at_rest.sensor is not None
    nominal_v = job.board_live["supply_nominal_mv"] / 1000.0
    # Full speed was measured in mid travel; where the load is heavier, creep has shown by how much.
    rise_a = max(peak - usual for peak, usual in zip(ends.creep_peak_a, ends.creep_a, strict=True))
    noise_mm = at_rest.pot_noise_raw * ends.mm_per_raw
    dwell_s = max(0.15, 6.0 * noise_mm / min(ends.creep_mm_s))
    if dwell_s > DWELL_MOST_S:
        raise failed(
            job,
            f"by its pot the rod needs {dwell_s:.0f} s at creep to show motion: no stall would be "
            "noticed in time",
            "The wiper's wire is on a wrong lead (rodbench wire --identify), or the track is worn "
            "(rodbench measure pot).",
        )
    stall = stall_estimate(at_rest, ends, speeds, nominal_v)
    # In a move the following term answers the pot's noise as if it were a lag.
    restless_a = 0.0
    if stall is not None:
        restless_a = FOLLOWING_PER_S * noise_mm / min(speeds.speed_mm_s) * stall.current_a
    return Learned(
        range_mm=ends.range_mm,
        spread_mm=max(ends.spread_mm),
        noise_mm=noise_mm,
        speed_mm_s=speeds.speed_mm_s,
        dead_zone=speeds.dead_zone,
        run_on_mm=speeds.run_on_mm,
        running_a=max(speeds.running_a) if has_sensor else None,
        held_peak_a=max(speeds.held_peak_a) + rise_a + restless_a if has_sensor else None,
        stall=stall,
        brakes=job.live["stop_by"] == 0,
        fuse_a=fuse_a,
        sensor_top_a=(
            sensor_top_a(job.scale, job.live["current_sensor"], job.live) if has_sensor else None
        ),
        dwell_s=min(dwell_s, DWELL_MOST_S / 2.0),
        duty=duty,
    )


def propose(job: Job, known: Learned) -> Proposed:
    """Work the proposal out and say it. Sends nothing. Raises ProcedureError without room."""
    try:
        found = Proposed(reckon(known, job.units.length), known.stall)
    except ValueError as error:
        raise failed(job, str(error), "Lower the speed, or let the driver brake.") from None
    if "following_um" not in job.live:  # a board of an older firmware
        found = replace(found, proposal=replace(found.proposal, following_mm=None))
    say(job, found)
    return found


def say(job: Job, found: Proposed) -> None:
    """The proposal as a table with one line of reason each."""
    p, why, units = found.proposal, found.proposal.reasons, job.units
    job.say(" 6 Proposal                           nothing of it is on the board yet")
    rows = [
        ("soft stops", units.span(p.soft_stop_min_mm, p.soft_stop_max_mm)),
        (
            "speed, ramps",
            f"{units.speed(p.speed_max_mm_s)}, "
            f"{units.acceleration(p.acceleration_mm_s2).split()[0]} / "
            f"{units.acceleration(p.deceleration_mm_s2)}",
        ),
        ("trip", "none" if p.trip_a is None else f"{p.trip_a:.2f} A"),
        ("stall time", f"{p.stall_time_ms} ms"),
        ("duty", f"{100 * p.duty_share:.0f} % in {p.duty_window_min:g} min"),
    ]
    if p.following_mm is not None:
        rows.append(("falls behind", units.length(p.following_mm)))
    for name, value in rows:
        job.say(f"       {name:<14} {value:<30}  {why[name]}")
    if job.live["current_sensor"] and "rated_ma" in job.live:
        job.say(f"       {'heat':<14} {heat_words(job)}")
    for warning in p.warnings:
        job.say(f"       ! {warning}")
    job.say("       " + not_guarded(job.board_live, job.live | found.settings()))


def heat_words(job: Job) -> str:
    """What guards the motor against heat, by the rated current of its label."""
    live = job.live
    if not live["rated_ma"]:
        return (
            f"{'not guarded':<30}  write rated_current_a, from the label, into the machine "
            "file's rod"
        )
    rated, warn = live["rated_ma"] / 1000, live["thermal_warn_percent"]
    trip = live["thermal_trip_percent"]
    return (
        f"{f'by {rated:g} A rated':<30}  warns at {warn} %, trips at {trip} % of what that current "
        "gives"
    )


def agree(
    job: Job, found: Proposed, *, fuse_a: float | None = None, working_mm: Ends = (None, None)
) -> Proposed | None:
    """Accept, edit or leave; None when the person leaves it. Raises ProcedureError after three
    edits that the board or the machine file would refuse."""
    refused = 0
    while True:
        answer = job.asker.ask(
            Question(
                "accept",
                "       Accept, edit or leave?",
                Kind.DECISION,
                ("accept", "edit", "leave"),
            )
        )
        if answer != "edit":
            return found if answer == "accept" else None
        found = _edit(job, found)
        say(job, found)
        wrong = _wrong(job, found, fuse_a, working_mm)
        if not wrong and job.asker.ask(_sure()) == "yes":
            return found
        refused += bool(wrong)
        if refused == EDIT_TRIES:
            raise failed(job, wrong, "`rodbench commission` again, and accept what is proposed.")
        if wrong:
            job.say(f"       Not so: {wrong} Nothing was sent; edit it again.")


def _wrong(job: Job, found: Proposed, fuse_a: float | None, working_mm: Ends) -> str:
    """Why the board or the machine file would refuse it, in a sentence; "" when both take it."""
    values = job.live | found.settings() | {"calibrated": 1}
    kind = kind_of(job.board.hello.board_kind).word
    if found_wrong := wrong_limits(
        values, fuse_a=fuse_a, working_ends_mm=working_mm, board_kind=kind
    ):
        return " ".join(found_wrong)
    try:
        job.board.check_scope(job.number, found.settings())
    except Refused as error:
        return f"the board would refuse it: {error.message}."
    return ""


def _sure() -> Question:
    return Question("accept_edited", "       Is it right now?", Kind.DECISION, ("yes", "no"))


def _edit(job: Job, found: Proposed) -> Proposed:
    proposal = found.proposal
    for name, words, unit, row in EDITS:
        now = getattr(proposal, name)
        if now is None:
            continue
        bare = LENGTHS.get(unit, unit) if job.units.name == "in" else unit
        shown = job.units.value(now) if bare != unit else now
        keeps = f"{shown:.4g} {bare}".rstrip()
        text = f"       {words} (Enter keeps {keeps})?"
        question = Question(f"edit_{name}", text, Kind.DECISION, unit=unit, bare=bare, enter=keeps)
        answer = job.asker.ask(question)
        if answer == keeps:
            continue
        given = question.number(answer)
        change: dict[str, Any] = {name: int(given) if name == "stall_time_ms" else given}
        reasons = {**proposal.reasons, row: "as you set it"}
        proposal = replace(proposal, reasons=reasons, **change)
    return replace(found, proposal=proposal)
