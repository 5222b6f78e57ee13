"""Which way is out, of a rod without a pot: short runs at creep, and a person's eyes alone."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench.science.polarity import Finding, Seen
from rodbench.science.two_wires import Direction, SeenRun, direction

from . import short_run
from .ask import Kind, Question
from .budget import Budget
from .current import AtRest
from .job import Job, failed

RUN_S = 1.0
LEVELS = (0.3, 0.4, 0.5, 0.6)  # raised while the motor pulls and the rod is seen to stand
MARGIN = 1.15  # a warm motor, a lower supply and a harder start ask for more
TRIES = 2
MOST_S = 2 * len(LEVELS) * RUN_S + 2
CHOICES = tuple(seen.value for seen in Seen)
NAMES = {1: "A", -1: "B"}


@dataclass(frozen=True, slots=True)
class SeenDirection:
    """The direction, the output of creep, and the current in A of the runs (extend, retract)."""

    motor_reversed: bool
    creep_output: float
    current_a: tuple[float, float]

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        return {
            "motor_reversed": int(self.motor_reversed),
            "creep_output_permille": round(1000 * self.creep_output),
        }

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        return {"motor_reversed": "by short runs and a person's eyes"}


def find(job: Job, at_rest: AtRest, third_look: bool) -> SeenDirection:
    """Run both ways at creep and ask. Leaves `motor_reversed` in force, not stored.

    `third_look`: no run to an end follows, which would show two answers that are wrong alike.
    Raises ProcedureError when answers and current settle nothing.
    """
    with job.stopping():
        job.uncalibrate()
        job.commit({"motor_reversed": 0})
        budget = Budget(job)
        job.say(
            " 3 Direction                          two short runs at creep; no pot: your eyes tell"
        )
        budget.say_cost(MOST_S, "at most")
        budget.ensure(MOST_S, "finding the direction")
        found, runs, level = _settled(job, at_rest)
        job.say(f"       The answers agree: {found.text}")
        a, b = (runs[sign].current_a or 0.0 for sign in (1, -1))
        result = SeenDirection(
            found.motor_reversed,
            round(min(level * MARGIN, LEVELS[-1]), 3),
            (b, a) if found.motor_reversed else (a, b),
        )
        job.commit(result.settings())
        if third_look:
            _look_again(job, at_rest, level)
    job.record("calibrate polarity", {"axis": job.number, "found": result})
    return result


def _settled(job: Job, at_rest: AtRest) -> tuple[Direction, dict[int, SeenRun], float]:
    """Runs until they settle the direction. Raises ProcedureError."""
    for left in range(TRIES - 1, -1, -1):
        found, runs, level = _raising(job, at_rest)
        if found.settled:
            return found, runs, level
        again = left and found.finding in (Finding.NOT_SEEN, Finding.CONTRADICTORY)
        if not again:
            break
        job.say(f"       {found.text}. Once more.")
    job.record("calibrate polarity", {"axis": job.number, "finding": found})
    raise failed(job, found.text, "The direction stays unknown. " + _hint(found))


def _raising(job: Job, at_rest: AtRest) -> tuple[Direction, dict[int, SeenRun], float]:
    """Both runs, stronger while the rod stands both ways though the motor may pull."""
    for level in LEVELS:
        runs = _both_ways(job, at_rest, level)
        found = direction(runs[1], runs[-1])
        if found.finding is not Finding.NO_MOTION or level == LEVELS[-1]:
            break
        job.say("       The rod stood: more output.")
    return found, runs, level


def _both_ways(job: Job, at_rest: AtRest, level: float) -> dict[int, SeenRun]:
    """Runs A and B; the first again when the rod stood at an end that barred it."""
    runs = {sign: _run(job, at_rest, sign, level, NAMES[sign]) for sign in (1, -1)}
    for sign in (1, -1):
        if runs[-sign].went and runs[sign].seen is Seen.STILL:
            job.say(f"       Run {NAMES[sign]} stood, the other went: an end barred it. Again.")
            runs[sign] = _run(job, at_rest, sign, level, NAMES[sign])
    return runs


def _run(job: Job, at_rest: AtRest, sign: int, level: float, name: str) -> SeenRun:
    samples = short_run.jog(job, sign * level, RUN_S)
    current = short_run.current_a(samples) if at_rest.sensor else None
    drew = "" if current is None else f", {current:.2f} A"
    job.say(f"       run {name}: {100 * level:.0f} % output for {RUN_S:.0f} s{drew}")
    seen = Seen(
        job.asker.ask(
            Question(
                f"run_{name.lower()}",
                f"       Run {name}: did the rod come out or go in?",
                Kind.FACT,
                CHOICES,
            )
        )
    )
    return SeenRun(sign, current, at_rest.current_step_a, seen)


def _look_again(job: Job, at_rest: AtRest, level: float) -> None:
    """A third look: two answers that are wrong alike agree with each other. Back from run B, so
    that there is room."""
    first = -1 if job.live["motor_reversed"] else 1
    for way, name in ((first, "C"), (-first, "D")):  # D where C was barred
        meant = Seen.OUT if way > 0 else Seen.IN
        seen = _run(job, at_rest, way, level, name).seen
        if seen is not Seen.STILL:
            break
    if seen is not meant:
        raise failed(
            job,
            f"run {name} should have gone {meant.value} by the answers so far, and was seen: "
            f"{seen.value}",
            f"Watch it closely and start again: rodbench calibrate polarity {job.number}",
        )


def _hint(found: Direction) -> str:
    return {
        Finding.NOT_SEEN: "Have somebody watch the rod, then start again.",
        Finding.CONTRADICTORY: "Mark the rod with tape, watch it, then start again.",
        Finding.MOTOR_OPEN: "Check motor leads, fuse and driver supply.",
        Finding.NO_MOTION: "Free the rod; see the supply under load.",
    }.get(found.finding, "Check the wiring.")
