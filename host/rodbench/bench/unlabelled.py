"""A rod without a label, free on the bench: what it is, carefully, from low voltage up.

The output is the voltage knob: a tenth of a supply of 12 V is 1.2 V at the motor. Ends are sought
at creep as for any rod; the person measures pin to pin where it stands. Then short runs at rising
voltage tell the motor, until the best guess of the rated voltage is reached; nothing runs above it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rodbench.science.rated import Guess, Motor, guess, motor
from rodbench.science.stall import Point

from . import cautions, current, edge, endpoints, ordinary, polarity, speed
from . import two_wires as two_wires_plan
from .ask import Kind, Question
from .budget import Budget
from .current import AtRest
from .found_ends import Endpoints
from .job import Job
from .keeper import Keeper
from .label import Label, length, pin_to_pin, wrong_stroke
from .ordinary import Commissioned
from .two_wires import TwoWires
from .two_wires_ends import Strokes

NOMINAL_MM = 100.0  # of a stroke that nobody has measured yet: only the board's waits go by it
STEPS_V = (3.0, 4.5, 6.0, 9.0, 12.0, 15.0, 18.0, 24.0, 30.0, 36.0)
BARE_CEILING = 0.6  # of the supply, without a pot: creep's own greatest output
ABOVE_CREEP = 1.3  # a step lies at least this far above what creep has tried
LEAST_OUTPUT, FULL = 100, 1000  # permille: the range of the output ceiling
UNKNOWN = (
    "Still unknown: force, moving and held; how long it may run (25 % is a careful default); "
    "whether it is sealed; its age. The rated voltage is a guess."
)


@dataclass(frozen=True, slots=True)
class Step:
    """A run each way at one voltage: volts at the motor; pairs are (extend, retract)."""

    volts: float
    speed_mm_s: tuple[float, float]
    running_a: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What an unlabelled rod told: its motor (None: the runs did not settle it), the guess, the
    steps, and the voltage that it is run at from now on."""

    motor: Motor | None
    guess: Guess | None
    steps: tuple[Step, ...]
    ceiling_v: float


def commission(job: Job, keeper: Keeper, label: Label) -> Commissioned:
    """Everything about a rod that nobody knows anything of but its wires.

    Raises ProcedureError when the person leaves the proposal, or a finding forbids to go on.
    """
    job.say(cautions.SALVAGED)
    cautions.first_motion(job, label.rod)
    at_rest = edge.leave(job, current.measure(job), None)
    way = polarity.find(job, at_rest)
    lengths: dict[int, float] = {}
    ends = endpoints.find(
        job, at_rest, way, NOMINAL_MM, at_end=lambda side: _measure(job, side, lengths)
    )
    found = try_up(job, at_rest, ends)
    job.record("unlabelled", {"axis": job.number, "found": found})
    label = replace(label, retracted_pin_to_pin_mm=lengths[-1], stroke_mm=ends.stroke_mm)
    if found.guess is not None:
        label = replace(label, rated_v=found.guess.volts, rated_why=found.guess.reasons[0])
    between = ordinary.between(job, label, ends)
    done = ordinary.finish(job, keeper, label, at_rest, way, ends, between)
    job.say(" " + UNKNOWN)
    return done


def two_wires(job: Job, keeper: Keeper, label: Label) -> TwoWires:
    """The same without a pot: to its ends at no more than creep's greatest output, and a guess."""
    job.say(cautions.SALVAGED)
    job.say(f"       No label: not above {100 * BARE_CEILING:.0f} % of the supply.")
    job.commit({"output_max_permille": round(1000 * BARE_CEILING)})
    done = two_wires_plan.commission(job, keeper, label)
    known = None if done.strokes is None else _look(_points_of_strokes(done.strokes))
    if known is None:
        job.say("       The runs do not tell what voltage it is made for.")
    else:
        _say_guess(job, *known)
        assert done.strokes is not None
        found = Salvaged(*known, (), done.strokes.output * done.strokes.supply_v)
        job.record("unlabelled", {"axis": job.number, "found": found})
    job.say(" " + UNKNOWN)
    return done


def _points_of_strokes(found: Strokes) -> list[Point]:
    """Creep and the timed runs, both ways; a stroke's mean speed for the speed."""
    volts = found.supply_v
    pairs = zip(found.creep_a, found.creep_time_s, found.running_a, found.time_s, strict=True)
    points = []
    for creep_a, creep_s, running_a, run_s in pairs:
        points.append(Point(found.creep_output * volts, creep_a, found.stroke_mm / creep_s))
        points.append(Point(found.output * volts, running_a, found.stroke_mm / run_s))
    return points


def _measure(job: Job, side: int, lengths: dict[int, float]) -> float | None:
    """Pin to pin where the rod stands now: at its retracted end first, then at the other, where the
    stroke follows."""
    if side < 0:
        lengths[side] = pin_to_pin(job, "retracted_pin_to_pin", "Pin to pin as it stands")
        return None
    words = "Pin to pin as it stands now"
    question = length(
        job, "extended_pin_to_pin", words, lambda mm: wrong_stroke(job, lengths[-1], mm)
    )
    lengths[side] = job.asker.number(question)
    stroke_mm = lengths[side] - lengths[-1]
    job.say(f"       -> stroke {job.units.length(stroke_mm)}")
    return stroke_mm


def try_up(job: Job, at_rest: AtRest, ends: Endpoints) -> Salvaged:
    """Runs at rising voltage inside the provisional soft stops; leaves the output ceiling where the
    person agrees to have it. Raises Faulted when a guard trips."""
    supply_v = at_rest.supply_v or job.board_live["supply_nominal_mv"] / 1000.0
    job.say(
        f"   Voltage                              short runs, from low up; {supply_v:.1f} V here"
    )
    points = _creep_points(ends, supply_v)
    steps: list[Step] = []
    known = _look(points)
    for volts in STEPS_V:
        most = min(supply_v, known[1].volts if known else supply_v)
        if volts <= ABOVE_CREEP * max(p.volts for p in points[:2]) or volts > most + 0.05:
            continue
        step = _step(job, ends, volts, supply_v)
        steps.append(step)
        points += _points_of(step)
        known = _look(points)
    creep_v = job.live["creep_output_permille"] / 1000.0 * supply_v
    ceiling_v = _ceiling(job, creep_v, supply_v, known)
    job.commit({"output_max_permille": _permille(job, ceiling_v, supply_v)})
    return Salvaged(
        known[0] if known else None, known[1] if known else None, tuple(steps), ceiling_v
    )


def _creep_points(ends: Endpoints, supply_v: float) -> list[Point]:
    pairs = zip(ends.creep_output, ends.creep_a, ends.creep_mm_s, strict=True)
    return [Point(output * supply_v, amps, mm_s) for output, amps, mm_s in pairs]


def _points_of(step: Step) -> list[Point]:
    pairs = zip(step.running_a, step.speed_mm_s, strict=True)
    return [Point(step.volts, amps, mm_s) for amps, mm_s in pairs]


def _look(points: list[Point]) -> tuple[Motor, Guess] | None:
    """The motor and the guess as far as the points tell."""
    try:
        found = motor(points)
    except ValueError:
        return None
    return found, guess(found)


def _permille(job: Job, volts: float, supply_v: float) -> int:
    """A ceiling of the output; never below creep, which the board would refuse."""
    least = max(LEAST_OUTPUT, job.live["creep_output_permille"])
    return max(least, min(FULL, round(1000 * volts / supply_v)))


def _step(job: Job, ends: Endpoints, volts: float, supply_v: float) -> Step:
    """One run each way with the output's ceiling at a voltage."""
    output = _permille(job, volts, supply_v)
    job.commit({"output_max_permille": output})
    need_s = speed.planned_s(ends.stroke_mm, min(ends.creep_mm_s), max(ends.creep_output))
    Budget(job).ensure(need_s / speed.RUNS, f"the runs at {volts:g} V")
    extend, retract, loaded_v = speed.once_each_way(job, ends)
    at_motor = output / 1000.0 * loaded_v
    step = Step(
        at_motor,
        (extend.speed_mm_s, retract.speed_mm_s),
        (extend.running_a, retract.running_a),
    )
    amps = f"   {step.running_a[0]:.2f} / {step.running_a[1]:.2f} A" if _senses(job) else ""
    job.say(
        f"       {at_motor:4.1f} V   {job.units.number(step.speed_mm_s[0])} / "
        f"{job.units.speed(step.speed_mm_s[1])} out / in{amps}"
    )
    return step


def _senses(job: Job) -> bool:
    return bool(job.live["current_sensor"])


def _ceiling(job: Job, creep_v: float, supply_v: float, known: tuple[Motor, Guess] | None) -> float:
    """The voltage to run at: what the person knows, else what every plausible rating bears."""
    if known is None:
        job.say("       The runs do not tell what voltage it is made for.")
        proposed = min(supply_v, max(creep_v, 6.0))
    else:
        _say_guess(job, *known)
        best = known[1]
        proposed = min(supply_v, max(creep_v, best.volts if best.sure else best.safe_v))
    words = f"       Run it at up to {proposed:.1f} V (more only if you know that it may)?"
    if job.asker.ask(Question("run_at", words, Kind.DECISION, ("yes", "other"))) == "yes":
        return proposed
    question = Question(
        "run_at_v",
        "       At how many volts?",
        Kind.DECISION,
        unit="V",
        check=lambda volts: _wrong_volts(volts, creep_v, supply_v),
    )
    return job.asker.number(question)


def _wrong_volts(volts: float, creep_v: float, supply_v: float) -> str | None:
    if creep_v <= volts <= supply_v:
        return None
    return f"{volts:g} V: {creep_v:.1f} V (creep) to {supply_v:.1f} V can be had from this supply"


def _say_guess(job: Job, found: Motor, told: Guess) -> None:
    names = " or ".join(f"{volts:g}" for volts in told.plausible)
    sure = f"best guess {told.volts:g} V" if told.sure else f"cannot be told: {names} V"
    job.say(f"       Rated voltage: {sure}. Why:")
    for reason in told.reasons:
        job.say(f"         {reason}")
    stall = found.stall_a(told.volts)
    if stall is not None and found.resistance_ohm is not None:
        job.say(
            f"       Winding and leads about {found.resistance_ohm:.1f} ohm: stalled it would draw "
            f"about {stall:.1f} A at {told.volts:g} V (reckoned, not measured)."
        )
