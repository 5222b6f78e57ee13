"""`measure pot`: sweeps both ways between the soft stops, and short runs to and fro at mid way.

The sweeps are made at a set output, so that the motion itself is smooth whatever the pot reads. A
wiper that loses contact trips a guard of the board; the rod is then let rest, the guard cleared,
and the place passed at creep as an uncalibrated axis, where the guards judge by the pot no more.
The host keeps account of the way meanwhile, and calibration is put back in force behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from rodbench.science.pot import (
    Followed,
    Health,
    Repeat,
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
from .job import Job, failed
from .pot_sweep import sweep
from .pot_turns import ONWARD, RUN_MM, RUN_S, TURNS, run_mm, turns
from .pot_work import FASTEST_MM_S, Work, begin

SWEEPS = 2  # each way
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
    stops: int
    blocked_at_mm: float | None
    stuck: bool
    health: Health
    track: Track


def planned_s(job: Job) -> float:
    """Motor time in s that it will take."""
    work = begin(job)
    span = work.track.high_mm - work.track.low_mm
    sweeps = sum(span / work.speed(way, FASTEST_MM_S)[1] for way in (1, -1))
    runs = sum(run_mm(work) / work.speed(way, RUN_MM / RUN_S)[1] + 0.2 for way in (1, -1))
    return (SWEEPS + 0.5) * sweeps + (ONWARD + TURNS / 2) * runs


def measure(job: Job) -> PotReport:
    """Say the cost, take the caution, sweep, turn to and fro, and judge. Needs a calibrated axis;
    changes no setting for good.

    Raises ProcedureError when the axis is not calibrated or the caution not accepted, Faulted for
    a guard that has nothing to do with the pot.
    """
    _refuse_uncalibrated(job)
    work = begin(job)
    work.budget.say_cost(planned_s(job))
    job.say(cautions.CRUSH)
    job.say(PASSING)
    cautions.consent(job, cautions.creep("The rod sweeps from soft stop to soft stop."))
    with job.stopping():
        first = 1 if work.here() > (work.track.low_mm + work.track.high_mm) / 2.0 else -1
        for number in range(2 * SWEEPS + 1):
            if not work.stuck:
                sweep(work, first * (-1) ** number)
        followed = [follow(sweep, work.track) for sweep in work.sweeps if len(sweep.mm) > 20]
        found = zones([*lost_at(followed), *work.stopped_at])
        repeated = turns(work, found)
        report = _report(work, followed, found, repeated)
    job.record("measure pot", {"axis": job.number, "found": report})
    return report


def _refuse_uncalibrated(job: Job) -> None:
    """Raise ProcedureError for an axis whose soft stops, or whose pot, nobody knows."""
    if not job.live["calibrated"]:
        raise failed(
            job,
            "it is not calibrated, so that nothing says where the soft stops are",
            f"rodbench calibrate endpoints {job.number}",
            "Nothing moved.",
        )


def _report(
    work: Work, followed: list[Followed], found: list[Zone], repeated: Repeat | None
) -> PotReport:
    noise = noise_by_place(followed, work.track)
    health = judge(found, noise, repeated, work.track, work.blocked_at_mm)
    return PotReport(
        zones=tuple(found),
        noise_mm=median([rms for _, _, rms in noise]) if noise else 0.0,
        noisy=tuple(noisy_parts(noise)),
        repeat=repeated,
        stops=len(work.stopped_at),
        blocked_at_mm=work.blocked_at_mm,
        stuck=work.stuck,
        health=health,
        track=work.track,
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
    return [
        f"one place repeats, stroke to stroke: {scatter} rms, {found.reversals} reversals",
        f"play at a reversal: {_fine(units, found.play_mm)}",
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
        return ["Verdict: clean. No contact was lost between the soft stops."]
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
