"""Section 1: what a person has in hand, asked in the order in which it can be answered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rodbench_protocol.names import CurrentSensor, Driver

from .ask import Question
from .job import Job, failed
from .keeper import Keeper

WITH_POT, TWO_WIRES = "motor + pot", "motor only"
BENCH, MOUNTED = "bench", "mounted"
RELAYS = "relays"
DRIVERS = {driver.name.lower().replace("_", "-"): driver for driver in Driver}
SENSORS = {sensor.name.lower().replace("_", "-"): sensor for sensor in CurrentSensor}
LEAST_STROKE_MM, MOST_STROKE_MM = 5.0, 2000.0
LEAST_PIN_TO_PIN_MM, MOST_PIN_TO_PIN_MM = 20.0, 5000.0
LEAST_GAIN_V_PER_A, MOST_GAIN_V_PER_A = 0.01, 5.0  # what the board's setting can hold
LEAST_FUSE_A, MOST_FUSE_A = 0.1, 60.0
Check = Callable[[float], str | None]


@dataclass(frozen=True, slots=True)
class Label:
    """What only a person knows before anything moves.

    mm, V/A (None: no sensor), A (None: no fuse). Lengths are None where they are not asked for
    before something has moved.
    """

    rod: str
    retracted_pin_to_pin_mm: float | None
    stroke_mm: float | None
    sensor_v_per_a: float | None
    fuse_a: float | None
    wires: str = WITH_POT
    place: str = BENCH
    driver: Driver = Driver.PWM_AND_TWO_DIRECTION_LINES
    sensor: CurrentSensor = CurrentSensor.ONE_SIDED
    ratiometric: bool = False
    unlabelled: bool = False
    rated_v: float | None = None  # of an unlabelled rod: a guess
    rated_why: str = ""

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by place."""
        return {"rods.rated_supply_v": f"a guess: {self.rated_why}"} if self.rated_v else {}

    def file_only(self) -> dict[str, object]:
        """Keys that stay in the machine file, by their place."""
        keys: dict[str, object] = {}
        if self.retracted_pin_to_pin_mm is not None:
            keys["rods.retracted_pin_to_pin_mm"] = round(self.retracted_pin_to_pin_mm, 2)
        if self.fuse_a:
            keys["board.fuse_a"] = self.fuse_a
        if self.unlabelled:
            keys["rods.label"] = "unknown"
        if self.rated_v:
            keys["rods.rated_supply_v"] = self.rated_v
        return keys


def ask(job: Job, keeper: Keeper, unlabelled: bool = False) -> Label:
    """Section 1. Nothing has moved yet, and nothing is sent.

    An unlabelled rod is measured where it stands, later; it has to be free on the bench.
    """
    job.say(" 1 Before anything moves")
    put = job.asker.ask
    name = put(_rod(job, keeper))
    wires = put(
        Question(
            "wires",
            "       Wires?",
            choices=(WITH_POT, TWO_WIRES),
            check=lambda w: keeper.wrong_feedback(job.number, "none" if w == TWO_WIRES else "pot"),
        )
    )
    place = put(
        Question("mounting", "       Free on the bench or mounted?", choices=(BENCH, MOUNTED))
    )
    short = stroke = None
    if unlabelled and place != BENCH:
        raise failed(
            job,
            "a rod that nobody knows is learned free on the bench, not mounted",
            "Take it off the machine; nothing was moved.",
        )
    if (place == BENCH and not unlabelled) or wires == TWO_WIRES:
        short, stroke = _pin_to_pin(job)
    elif place == MOUNTED:
        stroke = _stroke_of_mounted(job, keeper, name)
    driver = DRIVERS[put(_driver(job))]
    sensor, gain, ratiometric = _sensor(job)
    fuse = job.asker.number(
        Question("fuse_a", "       Fuse fitted, A (0: none)?", unit="A", check=_fuse)
    )
    return Label(
        name, short, stroke, gain, fuse or None, wires, place, driver, sensor, ratiometric,
        unlabelled,
    )  # fmt: skip


def _rod(job: Job, keeper: Keeper) -> Question:
    """The rod's name; that of the machine file, where it has one on the axis, by Enter."""
    known = keeper.rod_on(job.number) or ""
    text = f"       Rod name (Enter: {known})?" if known else "       Rod name?"
    return Question("rod", text, enter=known, check=lambda name: keeper.wrong_rod(job.number, name))


def _stroke_of_mounted(job: Job, keeper: Keeper, name: str) -> float:
    """Of a rod that the bench knows, its own; else about, until its working ends are shown."""
    known = keeper.known_rod(name)
    if known is None:
        return job.asker.number(stroke_about(job))
    job.say(
        f"       Known from the bench: stroke {job.units.length(known.stroke_mm)}. Its ends stay; "
        "the machine's working ends come to lie inside them."
    )
    return known.stroke_mm


def stroke_about(job: Job) -> Question:
    """A question for a stroke that only has to be right within a half."""

    def check(mm: float) -> str | None:
        if LEAST_STROKE_MM <= mm <= MOST_STROKE_MM:
            return None
        return f"{job.units.span(LEAST_STROKE_MM, MOST_STROKE_MM)} can be worked with"

    return length(job, "stroke_about", "Stroke of the rod, by its label or about", check)


def length(job: Job, name: str, words: str, check: Check | None = None) -> Question:
    """A question for a length, which a bare number gives in the units of the screen."""
    text = f"       {words}, in {'inches' if job.units.name == 'in' else 'mm'}?"
    return Question(name, text, unit="mm", bare=job.units.name, check=check)


def pin_to_pin(job: Job, name: str, words: str) -> float:
    """A length pin to pin in mm, as a person measures it."""
    return job.asker.number(length(job, name, words, _long_enough(job)))


def _pin_to_pin(job: Job) -> tuple[float, float]:
    """Retracted pin to pin, and stroke, in mm."""
    short = pin_to_pin(job, "retracted_pin_to_pin", "Pin to pin, retracted")
    long = job.asker.number(
        length(
            job,
            "extended_pin_to_pin",
            "Pin to pin, extended",
            lambda mm: wrong_stroke(job, short, mm),
        )
    )
    job.say(f"       -> stroke {job.units.length(long - short)}")
    return short, long - short


def _long_enough(job: Job) -> Check:
    def check(mm: float) -> str | None:
        if LEAST_PIN_TO_PIN_MM <= mm <= MOST_PIN_TO_PIN_MM:
            return None
        return (
            f'{job.units.length(mm)} from pin to pin is no rod: with its unit, "12 in" or '
            '"305 mm", it is clear'
        )

    return check


def wrong_stroke(job: Job, short_mm: float, long_mm: float) -> str | None:
    """Why an extended length cannot belong to a retracted one."""
    stroke = long_mm - short_mm
    if stroke <= 0.0:
        return (
            f"{job.units.length(long_mm)} is no more than retracted, "
            f"{job.units.length(short_mm)}: were the two swapped?"
        )
    if not LEAST_STROKE_MM <= stroke <= MOST_STROKE_MM:
        span = job.units.span(LEAST_STROKE_MM, MOST_STROKE_MM)
        return f"a stroke of {job.units.length(stroke)}: {span} can be worked with"
    return None


def _driver(job: Job) -> Question:
    def check(word: str) -> str | None:
        if word == RELAYS:
            return (
                "relays switch the motor on in full: no creep, so nothing can be found or jogged "
                "gently. A driver that takes PWM is needed"
            )
        if DRIVERS[word] is Driver.TWO_PWM_INPUTS and not _alone(job):
            return (
                "two PWM inputs take both PWM pins of the board: axis 1, with no rod on axis 2. "
                "pwm-input-and-line drives such a bridge on one PWM pin"
            )
        return None

    return Question("driver", "       Driver?", choices=(*DRIVERS, RELAYS), check=check)


def _alone(job: Job) -> bool:
    """Whether both PWM pins are free for this axis."""
    if job.number != 1:
        return False
    return job.board.hello.axis_count < 2 or not job.board.read_scope(2)["feedback"]


def _sensor(job: Job) -> tuple[CurrentSensor, float | None, bool]:
    """Kind, gain in V/A, and whether the gain follows the board's own supply."""
    job.say("       A one-sided current sensor rests near 0 V, a centred one near half its supply.")
    kind = SENSORS[
        job.asker.ask(Question("current_sensor", "       Current sensor?", choices=tuple(SENSORS)))
    ]
    if kind is CurrentSensor.NONE:
        return kind, None, False
    gain = job.asker.number(
        Question("current_sensor_v_per_a", "       Its gain, V per A?", unit="V/A", check=_gain)
    )
    follows = job.asker.ask(
        Question(
            "current_sensor_ratiometric",
            "       Ratiometric, by its data sheet: output follows its supply?",
            choices=("yes", "no"),
        )
    )
    return kind, gain, follows == "yes"


def _gain(gain: float) -> str | None:
    if LEAST_GAIN_V_PER_A <= gain <= MOST_GAIN_V_PER_A:
        return None
    if LEAST_GAIN_V_PER_A <= gain / 1000.0 <= MOST_GAIN_V_PER_A:
        return f"{gain:g} V per A is no current sensor; {gain:g} mV per A is {gain / 1000.0:g}"
    return f"{gain:g} V per A: {LEAST_GAIN_V_PER_A:g} to {MOST_GAIN_V_PER_A:g} can be worked with"


def _fuse(amps: float) -> str | None:
    if amps == 0.0 or LEAST_FUSE_A <= amps <= MOST_FUSE_A:
        return None
    return f"a fuse of {amps:g} A is none for this work: in A, for example 5"
