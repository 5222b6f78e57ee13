"""The proposal for a rod without a pot: a trip and the duty budget; nothing else can be limited."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from rodbench.errors import Refused
from rodbench.science.ends import End
from rodbench.science.proposal import Duty
from rodbench.science.stall import WARMTH, Point, Stall, behind_source, believable, from_running
from rodbench.science.two_wires import trip as reckon

from .ask import Kind, Question
from .current import AtRest, sensor_top_a
from .duty_share import note
from .guarded import not_guarded
from .job import Job
from .propose import EDIT_TRIES
from .two_wires_ends import Strokes


@dataclass(frozen=True, slots=True)
class Limits:
    """What can be limited: trip in A (None: no sensor), duty; a line of reason each."""

    trip_a: float | None
    stall: Stall | None
    duty_share: float
    duty_window_min: float
    reasons: dict[str, str]
    warnings: tuple[str, ...] = ()

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        keys = {
            "duty_share_permille": round(1000 * self.duty_share),
            "duty_window_s": round(60 * self.duty_window_min),
        }
        if self.trip_a is not None:
            keys["trip_ma"] = round(1000 * self.trip_a)
        if self.stall is not None:
            keys["stall_ma"] = min(60_000, round(1000 * self.stall.current_a))
        return keys

    def notes(self) -> dict[str, str]:
        """Reasons for the machine file, by axis key."""
        return note(self.reasons["duty"]) | (
            {"trip_ma": self.reasons["trip"]} if self.trip_a is not None else {}
        )


def propose(
    job: Job, at_rest: AtRest, strokes: Strokes, fuse_a: float | None, duty: Duty
) -> Limits:
    """Limits from what the runs have shown. Sends nothing."""
    hard = End.STALL in strokes.kinds
    stall = _stall(at_rest, strokes)
    tops = [(sensor_top_a(job.scale, job.live["current_sensor"], job.live), "the sensor's range")]
    if fuse_a:
        tops.append((fuse_a, "the fuse"))
    found = reckon(max(strokes.held_peak_a), stall, max(strokes.end_a) if hard else None, tops)
    return Limits(
        found.trip_a,
        stall,
        duty.share,
        duty.window_min,
        {"trip": found.reason, "duty": duty.why},
        (found.warning,) if found.warning else (),
    )


def without_runs(job: Job, duty: Duty) -> Limits:
    """Limits of a rod that has never run from end to end: the trip in force is kept."""
    trip = job.live["trip_ma"] / 1000.0 if job.live["current_sensor"] else None
    why = "as while measuring: what it draws over the whole way is not known"
    return Limits(
        trip, None, duty.share, duty.window_min,
        {"trip": why if trip else "no current sensor: no trip", "duty": duty.why},
    )  # fmt: skip


def _stall(at_rest: AtRest, s: Strokes) -> Stall | None:
    """Stall current on this supply: as an end has shown it, else from two running points."""
    ends = [a for a, kind in zip(s.end_a, s.kinds, strict=True) if kind == End.STALL]
    if ends:
        best = max(ends) / s.output
        return Stall(best, WARMTH * best, "measured at the ends")
    running = max(s.running_a)
    ohm = s.sag_v / (s.output * running) if running > 0.0 else 0.0
    found = []
    for way in (0, 1):
        creep_a = s.creep_a[way]
        volts = s.creep_output * (at_rest.supply_v - ohm * s.creep_output * creep_a)
        speed = s.stroke_mm / s.creep_time_s[way]
        creep = Point(volts, creep_a, speed)
        full = Point(s.output * s.supply_v, s.running_a[way], s.speed_mm_s[way])
        sigma = at_rest.current_step_a / 2
        one = from_running(creep, full, at_rest.supply_v, sigma, 0.03 * speed)
        if one and (sure := believable(behind_source(one, at_rest.supply_v, ohm), full)):
            found.append(sure)
    return min(found, key=lambda stall: stall.sigma_a, default=None)


def say(job: Job, limits: Limits, strokes: Strokes | None) -> None:
    """The proposal as a table with one line of reason each, and what is not guarded."""
    job.say(" 6 Proposal                           nothing of it is on the board yet")
    rows = [
        ("trip", "none" if limits.trip_a is None else f"{limits.trip_a:.2f} A"),
        ("duty", f"{100 * limits.duty_share:.0f} % in {limits.duty_window_min:g} min"),
    ]
    if strokes is not None:
        out, back = strokes.time_s
        job.say(
            f"       {'end to end':<14} {f'{out:.1f} s out, {back:.1f} s in':<29} "
            f"{_at(strokes.output)}a run that lasts 1.2 times as long trips"
        )
    for name, value in rows:
        job.say(f"       {name:<14} {value:<29} {limits.reasons[name]}")
    for warning in limits.warnings:
        job.say(f"       ! {warning}")
    job.say("       No soft stops, no positions, no gang: nothing tells where the rod is.")
    job.say("       " + not_guarded(job.board_live, job.live))


def _at(output: float) -> str:
    return "" if output == 1.0 else f"at {100 * output:.0f} % output; "


def agree(job: Job, limits: Limits, strokes: Strokes | None) -> Limits | None:
    """Accept, edit or leave; None when the person leaves it. Raises Refused after three edits that
    the board refuses."""
    refused = 0
    while True:
        say(job, limits, strokes)
        answer = _decide(job, "accept", "Accept, edit or leave?", ("accept", "edit", "leave"))
        if answer != "edit":
            return limits if answer == "accept" else None
        limits = _edit(job, limits)
        try:
            job.board.check_scope(job.number, limits.settings())
        except Refused as error:
            refused += 1
            if refused == EDIT_TRIES:
                raise
            job.say(f"       The board would refuse it: {error}. Nothing was sent; edit it again.")


def _decide(job: Job, name: str, words: str, choices: tuple[str, ...]) -> str:
    return job.asker.ask(Question(name, f"       {words}", Kind.DECISION, choices))


def _edit(job: Job, limits: Limits) -> Limits:
    edits = (
        ("trip_a", "Current trip", "A", "trip"),
        ("duty_share", "Duty, share of the window", "", "duty"),
        ("duty_window_min", "Duty window", "min", "duty"),
    )
    for name, words, unit, row in edits:
        now = getattr(limits, name)
        if now is None:
            continue
        text = f"       {words} (Enter keeps {now:g}{' ' + unit if unit else ''})?"
        question = Question(f"edit_{name}", text, Kind.DECISION, unit=unit, enter=repr(now))
        given = job.asker.number(question)
        if given != now:
            change: dict[str, Any] = {name: given}
            limits = replace(limits, reasons={**limits.reasons, row: "as you set it"}, **change)
    return limits
