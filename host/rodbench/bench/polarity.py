"""Which way is out: two short runs at creep and what a person saw."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rodbench.board import AxisSample
from rodbench.science.polarity import Finding, PolarityRun, Seen, Verdict, verdict
from rodbench.science.rest import Rest, rest

from . import short_run
from .ask import Kind, Question
from .budget import Budget
from .current import AtRest
from .job import Job, failed, rest_samples

RUN_S, LONGER_S = 1.0, 3.0  # longer where a person saw nothing of what the pot tells
# Outputs of the runs of one go, raised while the rod stands: the gentlest that serves is taken,
# since a rod coasts on behind an end switch.
LEVELS = (0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6)
NO_CURRENT_FROM = 0.3  # a coarse sensor sees nothing of the gentlest runs
CROSSING_S = 140.0  # creep should cross the pot's scale in this time
CROSSING_MOUNTED_S = 300.0  # by hand nobody wants it quick
# A warm motor, a lower supply and a harder start ask for more than what just moved the rod.
MARGIN = 1.15
MOST_S = 2 * len(LEVELS) * RUN_S + 2
REST_S = 1.0
TRIES = 2
BACK_IN_RAW = 24.0  # noise beside a reading outside, before a run counts as going further out
STALL_MS = 1200  # longer than a run: here the person and the host judge, not the guard
CHOICES = tuple(seen.value for seen in Seen)


@dataclass(frozen=True, slots=True)
class Polarity:
    """Directions; pairs are (extend, retract): raw per s in the runs, current in A then, and the
    output for creep, which is a little more than that of the runs."""

    motor_reversed: bool
    pot_falls: bool
    creep_raw_s: tuple[float, float]
    creep_output: tuple[float, float]
    current_a: tuple[float, float]

    def creep_of(self, way: int) -> float:
        """Output that creeps this way: +1 extending."""
        return self.creep_output[0 if way > 0 else 1]

    def raw_s_of(self, way: int) -> float:
        """Raw per s in the run this way."""
        return self.creep_raw_s[0 if way > 0 else 1]

    def current_of(self, way: int) -> float:
        """Current in A in the run this way."""
        return self.current_a[0 if way > 0 else 1]

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        return {
            "motor_reversed": int(self.motor_reversed),
            "creep_output_permille": round(1000 * max(self.creep_output)),
        }

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        return {"motor_reversed": "by two short runs and a person's eyes"}


@dataclass(frozen=True, slots=True)
class Room:
    """How far a mounted rod may go in the runs, either way from where it stands, in raw."""

    home_raw: float
    limit_raw: float

    def left(self, start_raw: float) -> Callable[[float], bool]:
        """Whether a run from `start_raw` may go on at a reading: inside, or on its way back in."""
        most = max(self.limit_raw, abs(start_raw - self.home_raw) + BACK_IN_RAW)
        return lambda raw: abs(raw - self.home_raw) < most

    def half_used(self, raw: float) -> bool:
        """Whether another run the same way could leave too little."""
        return abs(raw - self.home_raw) > 0.5 * self.limit_raw


@dataclass(slots=True)
class _Burst:
    """What one or more seconds of jog in one direction gave; rate and current of the last."""

    change_raw: float
    error_raw: float
    raw_s: float
    current_a: float | None
    quiet: bool
    output: float


def find(job: Job, at_rest: AtRest, room: Room | None = None) -> Polarity:
    """Run both ways at creep and ask. Leaves `motor_reversed` in force, not stored.

    A pot that reads at an edge of its scale must have left it before (see edge.py). A mounted rod
    is given `room`: its runs also end by the way that the pot has gone.
    Raises ProcedureError with the fault of pot, motor or answer; then nothing is settled.
    """
    with job.stopping():
        job.uncalibrate()
        job.commit({"motor_reversed": 0, "stall_time_ms": STALL_MS})
        budget = Budget(job)
        job.say(" 3 Polarity                           two short runs at creep")
        budget.say_cost(MOST_S, "at most")
        budget.ensure(MOST_S, "finding the direction")
        for left in range(TRIES - 1, -1, -1):
            found, bursts = _both_ways(job, at_rest, room, RUN_S if left else LONGER_S)
            if found.finding not in (Finding.NOT_SEEN, Finding.CONTRADICTORY):
                break
            job.say(f"       {found.text}." + (" Once more, longer." if left else ""))
            if left:
                budget.ensure(LONGER_S * MOST_S, "the longer runs")
        job.record("calibrate polarity", {"axis": job.number, "finding": found})
        if not found.settled:
            raise failed(job, found.text, "The direction stays unknown. " + _hint(found))
        job.say(f"       Answers and pot agree: {found.text}")
        result = _result(found, bursts)
        job.commit(result.settings())
    return result


def _result(found: Verdict, bursts: dict[int, _Burst]) -> Polarity:
    out = -1 if found.motor_reversed else 1
    extend, retract = bursts[out], bursts[-out]
    return Polarity(
        found.motor_reversed,
        found.pot_falls,
        (abs(extend.raw_s), abs(retract.raw_s)),
        (_with_margin(extend.output), _with_margin(retract.output)),
        (extend.current_a or 0.0, retract.current_a or 0.0),
    )


def _with_margin(output: float) -> float:
    return round(min(output * MARGIN, LEVELS[-1]), 3)


def _both_ways(
    job: Job, at_rest: AtRest, room: Room | None, run_s: float
) -> tuple[Verdict, dict[int, _Burst]]:
    """Runs A and B; A again when the rod stood at an end that bars A."""
    runs: dict[int, PolarityRun] = {}
    bursts: dict[int, _Burst] = {}
    for sign, name in ((1, "A"), (-1, "B")):
        runs[sign], bursts[sign] = _run(job, at_rest, room, sign, name, run_s)
    if runs[-1].moved and not runs[1].moved:
        job.say("       Run A stood, run B went: the rod was at an end. Run A again.")
        runs[1], bursts[1] = _run(job, at_rest, room, 1, "A", run_s)
    elif runs[1].moved and not runs[-1].moved:
        job.say("       Run A went, run B stood. Run B again.")
        runs[-1], bursts[-1] = _run(job, at_rest, room, -1, "B", run_s)
    return verdict(runs[1], runs[-1]), bursts


def _run(
    job: Job, at_rest: AtRest, room: Room | None, sign: int, name: str, run_s: float
) -> tuple[PolarityRun, _Burst]:
    burst = _burst(job, at_rest, room, sign, run_s)
    current = "" if burst.current_a is None else f", {burst.current_a:.2f} A"
    job.say(f"       run {name}: pot {burst.change_raw:+.0f} raw{current}")
    answer = job.asker.ask(
        Question(
            f"run_{name.lower()}",
            f"       Run {name}: did the rod come out or go in?",
            Kind.FACT,
            CHOICES,
        )
    )
    run = _as_run(at_rest, sign, burst, Seen(answer))
    return run, burst


def _burst(job: Job, at_rest: AtRest, room: Room | None, sign: int, run_s: float) -> _Burst:
    """Jog for a moment; again, and stronger, while the rod stands with the motor drawing current,
    or creeps so slowly that finding the ends would take too long."""
    before, raws = _pot(job), set[int]()
    crossing_s = CROSSING_MOUNTED_S if room else CROSSING_S
    for output in LEVELS:
        inside = room.left(before.mean) if room else None
        samples = short_run.jog(job, sign * output, run_s, inside)
        raws |= {s.raw for s in samples}
        after = _pot(job)
        burst = _Burst(
            change_raw=after.mean - before.mean,
            error_raw=(before.error**2 + after.error**2) ** 0.5,
            raw_s=_rate(samples),
            current_a=short_run.current_a(samples) if at_rest.sensor else None,
            quiet=len(raws) == 1,
            output=output,
        )
        run = _as_run(at_rest, sign, burst, Seen.NOT_SEEN)
        if run.moved and abs(burst.raw_s) * crossing_s >= job.scale.pot:
            break
        if run.moved and room and room.half_used(after.mean):
            break
        if not run.moved and run.draws is False and output >= NO_CURRENT_FROM:
            break
    return burst


def _as_run(at_rest: AtRest, sign: int, burst: _Burst, seen: Seen) -> PolarityRun:
    return PolarityRun(
        sign,
        burst.change_raw,
        burst.error_raw,
        burst.current_a,
        at_rest.current_step_a,
        burst.quiet,
        seen,
    )


def _pot(job: Job) -> Rest:
    return rest([s.raw for s in rest_samples(job, REST_S)[0]])


def _rate(samples: list[AxisSample]) -> float:
    """Raw per s over the second half of a run, when it is up to speed."""
    half = samples[len(samples) // 2 :]
    if len(half) < 4:
        return 0.0
    quarter = len(half) // 2
    first = sum(s.raw for s in half[:quarter]) / quarter
    last = sum(s.raw for s in half[quarter:]) / (len(half) - quarter)
    span_s = (half[-1].tick - half[0].tick) * 0.005 / 2
    return (last - first) / span_s if span_s else 0.0


def _hint(found: Verdict) -> str:
    return {
        Finding.NOT_SEEN: "Have somebody watch the rod, then start again.",
        Finding.CONTRADICTORY: "Mark the rod with tape, watch it, then start again.",
        Finding.MOTOR_OPEN: "Check motor leads, fuse and driver supply.",
        Finding.POT_FROZEN: "Check the wiper's wire and the pot itself.",
        Finding.POT_NOT_FOLLOWING: "Check that this pot belongs to this motor.",
        Finding.NO_MOTION: "Free the rod, or raise creep_output a little.",
    }.get(found.finding, "Check the wiring.")
