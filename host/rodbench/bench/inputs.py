"""Calibrate inputs: which local input an axis has, and what it reads at rest and at its ends.

Nothing moves: while a stick or a pulse is captured, the board holds every reading of it for lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import fmean, pstdev

from rodbench_protocol.names import Inputs, LocalAs, LocalSource

from rodbench.board import BoardSample

from .ask import Kind, Question
from .job import Job, failed

LOOK_S = 1.5
PERIOD_S = 0.05
SIGMAS = 8.0  # of the noise, that the band holds on either side
LEAST_BAND = {LocalSource.STICK: 6, LocalSource.PULSE: 12}
LEAST_WAY = 60  # from rest to an end, beside the band: less tells no speeds apart
STICK_TOP = 1023
# Ends above all that a stick or a pulse reads: everything is lost, and nothing arms.
DEAF = {"local_low_end": 4000, "local_rest": 4050, "local_rest_band": 2, "local_high_end": 4095}
SOURCES = ("buttons", "stick", "pulse")
UNCHANGED = "Nothing moved; the board's settings are as they were."


@dataclass(frozen=True, slots=True)
class LocalInput:
    """What was captured: stick in raw (one conversion), pulse in us; of buttons nothing."""

    source: str
    commands: str
    low_end: int = 0
    rest: int = 0
    rest_band: int = 0
    high_end: int = 0
    noise: float = 0.0
    blind: bool = False  # a broken wire would read as an end

    def settings(self) -> dict[str, int]:
        """Wire integers."""
        values = {
            "local_source": int(LocalSource[self.source.upper()]),
            "local_as": int(LocalAs[self.commands.upper()]),
        }
        if self.source == "buttons":
            return values
        ends = {"local_low_end": self.low_end, "local_high_end": self.high_end}
        return values | ends | {"local_rest": self.rest, "local_rest_band": self.rest_band}

    def notes(self) -> dict[str, str]:
        """Comments for the machine file, by wire name."""
        if self.source == "buttons":
            return {}
        return {"local_rest": f"noise {self.noise:.1f} rms"}


def find(job: Job) -> LocalInput:
    """Ask, look, and put the input in force, not stored. The host takes the axis meanwhile."""
    source = job.asker.ask(
        Question("input_source", "What commands it without a computer?", Kind.DECISION, SOURCES)
    )
    means = ("speed", "position") if job.has_pot and job.live["calibrated"] else ("speed",)
    commands = means[0]
    if len(means) > 1:
        commands = job.asker.ask(
            Question("input_commands", "Does it mean a speed or a position?", Kind.DECISION, means)
        )
    before = {key: job.live[key] for key in ("local_source", "local_as", *DEAF)}
    job.axis.take()
    try:
        found = _buttons(job, commands) if source == "buttons" else _captured(job, source, commands)
    except BaseException:
        job.axis.take()
        job.commit(before)
        raise
    job.commit(found.settings())
    return found


def _buttons(job: Job, commands: str) -> LocalInput:
    job.commit({"local_source": int(LocalSource.NONE)})
    bits = (Inputs.EXTEND_1, Inputs.RETRACT_1), (Inputs.EXTEND_2, Inputs.RETRACT_2)
    extend, retract = bits[job.number - 1]
    for word, wanted, others in (
        ("neither button", 0, extend | retract),
        ("the extend button", extend, extend | retract),
        ("the retract button", retract, extend | retract),
    ):
        _ready(job, word.replace(" ", "_"), f"Hold {word}.")
        seen = (_look(job)[-1].inputs or 0) & others
        if seen != wanted:
            raise failed(
                job,
                f"with {word} held the board reads {_closed(seen)} closed to ground",
                "A button goes from its pin to ground; README.md of the firmware has the pins.",
                UNCHANGED,
            )
    return LocalInput("buttons", commands)


def _closed(bits: int) -> str:
    names = [bit.name.lower().replace("_", " ") for bit in Inputs if bits & bit and bit.name]
    return " and ".join(names) or "nothing"


def _captured(job: Job, source: str, commands: str) -> LocalInput:
    kind = LocalSource[source.upper()]
    job.commit(DEAF | {"local_source": int(kind), "local_as": int(LocalAs.SPEED)})
    _ready(job, "input_rest", f"Leave the {source} at rest.")
    first = _values(job, source)
    _ready(job, "input_extend", f"Hold the {source} where it shall extend the rod fastest.")
    high = _values(job, source)
    _ready(job, "input_retract", f"Hold the {source} where it shall retract the rod fastest.")
    low = _values(job, source)
    _ready(job, "input_rest_again", f"Leave the {source} at rest again.")
    again = _values(job, source)
    rests = first + again
    rest, noise = round(fmean(rests)), max(pstdev(part) for part in (first, again))
    apart = abs(fmean(first) - fmean(again))
    band = max(LEAST_BAND[kind], math.ceil(apart + SIGMAS * noise))
    ends = round(fmean(low)), round(fmean(high))
    _told_apart(job, source, ends, rest, band)
    margin = abs(ends[1] - ends[0]) / 10
    blind = source == "stick" and (min(ends) <= margin or max(ends) >= STICK_TOP - margin)
    if blind:
        job.say(
            "CAUTION: the stick's ends lie so near to ground or supply that a broken wire reads as "
            "full speed. A resistor of a fifth of its track in each of its end leads shows it."
        )
    return LocalInput(source, commands, ends[0], rest, band, ends[1], noise, blind)


def _told_apart(job: Job, source: str, ends: tuple[int, int], rest: int, band: int) -> None:
    low, high = ends
    sides = (rest - low, high - rest)
    same = (sides[0] > 0) == (sides[1] > 0)
    if same and min(map(abs, sides)) >= band + LEAST_WAY:
        return
    raise failed(
        job,
        f"the {source} reads {low} retracting, {rest} at rest, {high} extending: too little "
        f"apart (band {band}), or rest does not lie between",
        "Is it wired to this axis, and was it held at its ends while the board looked?",
        UNCHANGED,
    )


def _ready(job: Job, name: str, text: str) -> None:
    question = Question(name, f"{text} Ready?", Kind.FACT, ("ready",), enter="ready")
    job.asker.ask(question)


def _look(job: Job) -> list[BoardSample]:
    job.axis.take()  # however long the person took
    job.board.subscribe(0.0, PERIOD_S)
    job.board.sleep(2 * PERIOD_S)
    seen = [s for s in job.board.watch(LOOK_S) if isinstance(s, BoardSample)]
    if not seen:
        raise failed(job, "the board sent no readings", "Is the line loose?", UNCHANGED)
    return seen


def _values(job: Job, source: str) -> list[int]:
    values = [s.local[job.number - 1] for s in _look(job) if s.local]
    if source == "pulse" and (not values or min(values) == 0):
        raise failed(
            job,
            "there is no servo pulse",
            "1.0 to 2.0 ms, 50 a second, 5 V, from its signal wire to the pin, grounds joined.",
            UNCHANGED,
        )
    return values
