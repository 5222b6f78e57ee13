"""The whole sequence: one rod from unknown to calibrated, limited, stored and tried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from rodbench_protocol.names import CurrentSensor, Feedback

from rodbench.errors import ProcedureError

from . import cautions, current, endpoints, polarity, speed, trial
from . import propose as proposing
from .ask import Kind, Question
from .budget import Budget
from .current import AtRest, sensor_top_a
from .endpoints import Endpoints
from .job import STORED, Job, failed
from .polarity import Polarity
from .propose import Proposed
from .speed import Speeds
from .trial import Trial

MEASURING_SHARE = 0.9  # of the fuse: the trip while little is known
MEASURING_TRIP_A = 1.5  # without a fuse to go by
STALL_MS = 1000
TRIAL_GUESS_S = 60.0


@dataclass(frozen=True, slots=True)
class Label:
    """What only a person knows before anything moves. mm, V/A (None: no sensor), A."""

    rod: str
    retracted_pin_to_pin_mm: float
    stroke_mm: float
    sensor_v_per_a: float | None
    fuse_a: float | None


@dataclass(frozen=True, slots=True)
class Commissioned:
    """Everything learned about one rod, and the axis's settings as they are on the board."""

    axis: int
    label: Label
    at_rest: AtRest
    polarity: Polarity
    ends: Endpoints
    speeds: Speeds
    proposed: Proposed
    settings: dict[str, int]
    file_only: dict[str, object]
    notes: dict[str, str]
    digest: int
    trial: Trial


class Keeper(Protocol):
    """Where the machine file is kept."""

    def keep(
        self,
        axis: int,
        rod: str,
        settings: Mapping[str, int],
        file_only: Mapping[str, object],
        notes: Mapping[str, str],
    ) -> None:
        """Write the axis's wire settings and the file's own keys, saved when this returns."""
        ...

    def digest(self) -> int:
        """The digest that a board with the file's settings tells."""
        ...


def ask_label(job: Job) -> Label:
    """Section 1: what the person reads off the rod and knows of the wiring."""
    job.say(" 1 Before anything moves")
    ask, number = job.asker.ask, job.asker.number
    rod = ask(Question("rod", "       Rod name?"))
    wires = ask(Question("wires", "       Wires?", Kind.FACT, ("motor + pot", "motor only")))
    if wires != "motor + pot":
        raise _later(job, "a rod without a pot")
    place = ask(
        Question(
            "mounting", "       Free on the bench or mounted?", Kind.FACT, ("bench", "mounted")
        )
    )
    if place != "bench":
        raise _later(job, "a mounted rod, whose ends are shown by hand and never sought")
    short = number(
        Question(
            "retracted_pin_to_pin",
            "       Pin to pin, retracted, in mm (or with its unit, 12 in)?",
            unit="mm",
        )
    )
    long = number(Question("extended_pin_to_pin", "       Pin to pin, extended, in mm?", unit="mm"))
    if not 5.0 <= long - short <= 2000.0:
        raise failed(
            job,
            f"a stroke of {long - short:.1f} mm: 5 to 2000 mm can be worked with",
            "Measure pin to pin again, retracted first.",
        )
    gain = number(
        Question("current_sensor_v_per_a", "       Current sensor, V per A (0: none)?", unit="V/A")
    )
    fuse = number(Question("fuse_a", "       Fuse fitted, A (0: none)?", unit="A"))
    job.say(f"       -> stroke {long - short:.1f} mm")
    return Label(rod, short, long - short, gain or None, fuse or None)


def _later(job: Job, what: str) -> ProcedureError:
    return failed(job, f"{what} cannot be commissioned in this version", "Nothing was moved.")


def prepare(job: Job, label: Label) -> None:
    """Fit the axis, uncalibrated, with a trip to measure under. Nothing moves or is stored."""
    job.uncalibrate()
    values = {
        "feedback": int(Feedback.POT),
        "stroke_um": round(1000 * label.stroke_mm),
        "current_sensor": int(CurrentSensor.ONE_SIDED if label.sensor_v_per_a else 0),
        "stall_time_ms": STALL_MS,
        "trip_ma": _measuring_trip_ma(label),
        "running_ma": 0,
        "current_zero": 0,
    }
    if label.sensor_v_per_a:
        values["current_uv_per_ma"] = round(1000 * label.sensor_v_per_a)
    job.commit(values)
    if label.sensor_v_per_a:
        job.say(f"       -> trip while measuring: {values['trip_ma'] / 1000:.1f} A")


def _measuring_trip_ma(label: Label) -> int:
    trip = MEASURING_SHARE * label.fuse_a if label.fuse_a else MEASURING_TRIP_A
    if label.sensor_v_per_a:
        trip = min(trip, sensor_top_a(0, round(1000 * label.sensor_v_per_a)))
    return min(30_000, max(50, round(1000 * trip)))


def run(job: Job, keeper: Keeper) -> Commissioned:
    """Sections 1 to 8. Any exception leaves the rod stopped; before section 7 nothing is stored.

    Raises ProcedureError when the person leaves the proposal, or a finding forbids to go on.
    """
    with job.stopping():
        label = ask_label(job)
        prepare(job, label)
        _say_cost(job, label)
        job.say(cautions.CRUSH)
        _consent(job, cautions.crush(label.rod))
        at_rest = current.measure(job)
        way = polarity.find(job, at_rest)
        ends = endpoints.find(job, at_rest, way, label.stroke_mm)
        job.say(" 5 Speed")
        job.say(cautions.FULL_SPEED)
        _consent(job, cautions.full_speed())
        speeds = speed.measure(job, at_rest, ends)
        known = proposing.learned(job, at_rest, ends, speeds, fuse_a=label.fuse_a)
        agreed = proposing.agree(job, proposing.propose(job, known))
        if agreed is None:
            raise failed(job, "the proposal was left", "`rodbench propose` makes it again.")
        return _put_on_board(job, keeper, label, at_rest, way, ends, speeds, agreed)


def _consent(job: Job, question: Question) -> None:
    if not job.asker.accept(question):
        raise failed(job, "the caution was not accepted", "Nothing moves without it.")


def _say_cost(job: Job, label: Label) -> None:
    """A guess before the first motion; each step says its own once more is known."""
    creep_raw_s = endpoints.FULL_SCALE / polarity.CROSSING_S
    ends_s = endpoints.planned_s(creep_raw_s, endpoints.FULL_SCALE / 2)
    fast_s = speed.planned_s(label.stroke_mm, label.stroke_mm / polarity.CROSSING_S, 0.3)
    motor_s = polarity.MOST_S + ends_s + fast_s + TRIAL_GUESS_S
    Budget(job).say_cost(motor_s, "for a slow rod, less for a quick one")


def _put_on_board(
    job: Job,
    keeper: Keeper,
    label: Label,
    at_rest: AtRest,
    way: Polarity,
    ends: Endpoints,
    speeds: Speeds,
    agreed: Proposed,
) -> Commissioned:
    """Sections 7 and 8: commit, store, restart, read back, compare with the file, try."""
    values = agreed.settings() | {"calibrated": 1}
    started = job.board.clock.now()
    job.commit(values, store=True)
    took = job.board.clock.now() - started
    settings = job.board.read_scope(job.number)
    file_only = ends.file_only() | {
        "rods.retracted_pin_to_pin_mm": label.retracted_pin_to_pin_mm,
    }
    if label.fuse_a:
        file_only["board.fuse_a"] = label.fuse_a
    notes: dict[str, str] = {}
    for part in (at_rest, way, ends, speeds, agreed):
        notes |= part.notes()
    keeper.keep(job.number, label.rod, settings, file_only, notes)
    digest = _read_back(job, keeper, took)
    tried = trial.run(job)
    done = Commissioned(
        job.number, label, at_rest, way, ends, speeds, agreed,
        settings, file_only, notes, digest, tried,
    )  # fmt: skip
    job.record("commission", {"axis": job.number, "found": done})
    _say_end(job, label)
    return done


def _read_back(job: Job, keeper: Keeper, took_s: float) -> int:
    """Restart the board: what it loads is what was stored, and must be what the file says."""
    job.board.restart()
    digests = job.board.digests()
    if digests["live"] != keeper.digest() or digests["live"] != digests["stored"]:
        raise failed(
            job,
            f"the board holds {digests['live']:08X}, the machine file {keeper.digest():08X}",
            "rodbench settings diff",
            STORED,
        )
    job.say(
        f" 7 On the board    checked, committed, stored in {took_s:.1f} s; board reset, read back: "
        f"{digests['live']:08X} = machine file"
    )
    return digests["live"]


def _say_end(job: Job, label: Label) -> None:
    left = Budget(job).left_s()
    job.say("")
    job.say(
        f' Axis {job.number} "{label.rod}" is calibrated. Duty left {left / 60:.1f} min of motor '
        "time."
    )
    job.say(" " + cautions.STILL_YOURS)
