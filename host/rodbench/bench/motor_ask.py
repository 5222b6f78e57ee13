"""What `measure motor` asks: a weight, the rod's way for a turn, the sensor's error."""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean

from rodbench.board.convert import mm_per_raw
from rodbench.settings.quantity import QuantityError, convert

from .ask import Kind, Question
from .job import Job, failed, rest_samples
from .motor_plan import KEPT

NONE, UNKNOWN = "none", "not known"
HOLDS_MM = 1.0  # a load that moves the resting rod further than this drives it back
HANG = (
    "! Hang it so that it pulls straight along the rod, can swing nowhere and falls on nobody when "
    "rod or rope gives way. Nobody under it. A rod that it pushes back is no rod for this."
)


def _quantity(unit: str, low: float, high: float, no: str) -> Callable[[str], str | None]:
    """A check for an answer that is a quantity, a bare number in its unit, or the word for none."""

    def check(text: str) -> str | None:
        if text.lower() == no:
            return None
        try:
            value = _number(text, unit)
        except QuantityError as error:
            return f"{error}; or '{no}'"
        return None if low <= value <= high else f"between {low:g} and {high:g} {unit}, or '{no}'"

    return check


def _number(text: str, unit: str) -> float:
    try:
        return float(text)
    except ValueError:
        return convert(text, unit)


def _asked(job: Job, name: str, text: str, unit: str, most: float, no: str) -> float | None:
    check = _quantity(unit, 1e-6, most, no)
    answer = job.asker.ask(Question(name, f"       {text}", Kind.FACT, enter=no, check=check))
    return None if answer.lower() == no else _number(answer, unit)


def weight_kg(job: Job) -> float:
    """A weight to hang on the rod; 0: none."""
    text = (
        "A known weight to hang on the rod for a second set of runs, for its efficiency and a "
        "surer resistance? kg, or none (Enter):"
    )
    return _asked(job, "hang_weight", text, "kg", 2000.0, NONE) or 0.0


def turn_mm(job: Job) -> float:
    """Way of the rod for one turn of the motor; 0: not known."""
    text = (
        "How far does the rod go for one turn of the motor itself, lead over gearing? mm, or not "
        "known (Enter):"
    )
    return _asked(job, "motor_turn", text, "mm", 100.0, UNKNOWN) or 0.0


def sensor_error(job: Job) -> float | None:
    """Of the current sensor's scale, as a share; None: not known."""
    text = (
        "How far may the current sensor's scale be off, by its data sheet? %, or not known (Enter):"
    )
    percent = _asked(job, "sensor_error", text, "percent", 30.0, UNKNOWN)
    return None if percent is None else percent / 100.0


def hang(job: Job) -> None:
    """Have the weight hung on, and see that it does not drive the rod back."""
    job.say(HANG)
    asked = Question("weight_hangs", "       Does the weight hang?", Kind.FACT, ("yes", "no"))
    if job.asker.ask(asked) != "yes":
        raise failed(job, "no weight hangs on the rod", "Answer none for the weight.", KEPT)
    before = fmean(s.raw for s in rest_samples(job, 0.5)[0])
    after = fmean(s.raw for s in rest_samples(job, 1.5)[0][-50:])
    if abs((after - before) * mm_per_raw(job.live)) > HOLDS_MM:
        raise failed(job, "the weight drives the resting rod", "Take the weight off.", KEPT)
