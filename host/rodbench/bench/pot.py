"""`measure pot`: sweeps both ways between the soft stops, and short runs to and fro at mid way.

The sweeps are made at a set output, so that the motion itself is smooth whatever the pot reads. A
wiper that loses contact trips a guard of the board; the rod is then let rest, the guard cleared,
and the place passed at creep as an uncalibrated axis, where the guards judge by the pot no more.
The host keeps account of the way meanwhile, and calibration is put back in force behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from rodbench.science.pot import (
    Followed,
    Health,
    Repeat,
    Sweep,
    Track,
    Zone,
    follow,
    judge,
    lost_at,
    noise_by_place,
    noisy_parts,
    zones,
)
from rodbench.settings.units import Units

from . import cautions
from .budget import Budget
from .job import Job, failed
from .pot_seek import end_to_end, refuse_mounted
from .pot_seek import planned_s as by_ends_s
from .pot_sweep import sweep
from .pot_turns import ONWARD, RUN_MM, RUN_S, TURNS, run_mm, turns
from .pot_work import FASTEST_MM_S, begin

SWEEPS = 2  # each way
Z95 = 1.96  # half of a 95 % interval, in sigmas
LEAST_READINGS = 20  # a shorter piece of a sweep tells nothing
PASSING = (
    "Where the pot loses contact, a guard stops the rod. It is cleared once the rod rests, and the "
    "rod goes on at creep; until the pot reads well again the board has no soft stops there, and "
    "this program keeps account of the way."
)


@dataclass(frozen=True, slots=True)
class PotReport:
    """What was found, in mm as the pot tells them. `noise_mm` is the usual rms about the motion's
    line, `noisy` parts (from, to, rms) far above it; `stops` by guards; `health` the verdict;
    `track` what it was judged by."""

    zones: tuple[Zone, ...]
    noise_mm: float
    noisy: tuple[tuple[float, float, float], ...]
    repeat: Repeat | None
    blocked_at_mm: float | None
    health: Health
    track: Track
    stops: int = 0
    stuck: bool = False


def planned_s(job: Job) -> float:
    """Motor time in s that it will take."""
    work = begin(job)
    span = work.track.high_mm - work.track.low_mm
    sweeps = sum(span / work.speed(way, FASTEST_MM_S)[1] for way in (1, -1))
    runs = sum(run_mm(work) / work.speed(way, RUN_MM / RUN_S)[1] + 0.2 for way in (1, -1))
    return (SWEEPS + 0.5) * sweeps + (ONWARD + TURNS / 2) * runs


def measure(job: Job) -> PotReport:
    """Say the cost, take the caution, sweep, turn to and fro, and judge; no setting is changed for
    good. An axis that is not calibrated is swept from end to end at creep, without the turns.

    Raises ProcedureError for an axis without a pot, a mounted one that is not calibrated, a caution
    that is not accepted, and a place past which there is no way; Faulted for a guard that has
    nothing to do with the pot.
    """
    if not job.has_pot:
        raise failed(job, "no pot is fitted", "There is nothing to measure.", "Nothing moved.")
    report = _calibrated(job) if job.live["calibrated"] else _end_to_end(job)
    job.record("measure pot", {"axis": job.number, "found": report})
    return report


def _agree(job: Job, cost_s: float, how: str, what: str) -> None:
    """The cost first, then the caution."""
    Budget(job).say_cost(cost_s, how)
    job.say(cautions.CRUSH)
    job.say(PASSING)
    cautions.consent(job, cautions.creep(what))


def _calibrated(job: Job) -> PotReport:
    work = begin(job)
    _agree(job, planned_s(job), "", "The rod sweeps from soft stop to soft stop.")
    with job.stopping():
        first = 1 if work.here() > (work.track.low_mm + work.track.high_mm) / 2.0 else -1
        for number in range(2 * SWEEPS + 1):
            if not work.stuck:
                sweep(work, first * (-1) ** number)
        followed = _followed(work.sweeps, work.track)
        found = zones([*lost_at(followed), *work.stopped_at])
        repeated = turns(work, found)
    report = _report(followed, found, repeated, work.track, work.blocked_at_mm)
    return replace(report, stops=len(work.stopped_at), stuck=work.stuck)


def _end_to_end(job: Job) -> PotReport:
    refuse_mounted(job)
    _agree(job, by_ends_s(job), "at the creep in force", "The rod creeps from end to end.")
    with job.stopping():
        found = end_to_end(job)
    sweeps, track = found.sweeps(job)
    followed = _followed(sweeps, track)
    report = _report(followed, zones(lost_at(followed)), None, track, None)
    return replace(report, stops=found.stops)


def _followed(sweeps: Sequence[Sweep], track: Track) -> list[Followed]:
    return [follow(one, track) for one in sweeps if len(one.mm) > LEAST_READINGS]


def _report(
    followed: list[Followed],
    found: list[Zone],
    repeated: Repeat | None,
    track: Track,
    blocked_at_mm: float | None,
) -> PotReport:
    noise = noise_by_place(followed, track)
    return PotReport(
        zones=tuple(found),
        noise_mm=median([rms for _, _, rms in noise]) if noise else 0.0,
        noisy=tuple(noisy_parts(noise)),
        repeat=repeated,
        blocked_at_mm=blocked_at_mm,
        health=judge(found, noise, repeated, track, blocked_at_mm),
        track=track,
    )


def sentences(job: Job, report: PotReport) -> list[str]:
    """What was found and what to do, in the units of the machine."""
    units, lines = job.units, []
    for zone in report.zones:
        where = units.span(zone.from_mm, zone.to_mm)
        lines.append(f"contact lost at {where}, {zone.count} times")
    lines.append(f"noise on the way {_fine(units, report.noise_mm)} rms")
    for low, high, rms in report.noisy:
        lines.append(f"noisy at {units.span(low, high)}: {_fine(units, rms)} rms")
    if report.repeat is not None:
        lines += _repeat_words(job, report.repeat)
    return [*lines, *_verdict_words(job, report)]


def _fine(units: Units, mm: float) -> str:
    """A small length with one digit more than others."""
    return f"{units.value(mm):.4f} in" if units.name == "in" else f"{mm:.2f} mm"


def _repeat_words(job: Job, found: Repeat) -> list[str]:
    units = job.units
    scatter = _fine(units, found.scatter_mm)
    if found.scatter_mm < found.floor_mm / 2.0:
        scatter = f"less than {_fine(units, found.floor_mm)}, all that can be seen"
    else:
        scatter += f" rms +- {100 * Z95 * found.scatter_error_share:.0f} %"
    play_error = _fine(units, Z95 * found.play_error_mm)
    return [
        f"one place repeats, stroke to stroke: {scatter}, {found.reversals} reversals",
        f"play at a reversal: {_fine(units, found.play_mm)} +- {play_error} (95 %)",
    ]


_STUCK = (
    "The rod rests where the pot has no contact, and the board will not move it from there: push "
    "it on by hand, or with a battery on its motor leads."
)
_WHY = {
    "blocked": "there is a place that the board cannot drive it past",
    "many zones": "contact is lost at many places",
    "wide zone": "contact is lost over much of the way",
    "scatter": "one place reads differently from stroke to stroke",
    "noisy part": "a part of the track is far noisier than the rest",
    "too little left": "too little way is left beside the zone",
}


def _verdict_words(job: Job, report: PotReport) -> list[str]:
    health, units = report.health, job.units
    if health.verdict == "clean":
        return ["Verdict: clean. No contact was lost on the way."]
    if health.verdict == "replace":
        why = "; ".join(_WHY[reason] for reason in health.reasons)
        return [*([_STUCK] if report.stuck else []), f"Verdict: replace the pot or the rod: {why}."]
    zone = report.zones[0] if len(report.zones) == 1 else None
    where = units.span(zone.from_mm, zone.to_mm) if zone else "the zones above"
    low, high = health.stops_mm or (0.0, 0.0)
    return [
        f"Verdict: avoid {where}.",
        f"Soft stops {units.span(low, high)} leave it out. Wear goes on: look again in some weeks.",
    ]
