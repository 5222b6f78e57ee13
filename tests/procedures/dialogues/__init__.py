"""Whole talks of `commission`, prompts and typed answers included, from the emulator in virtual
time. `python -m tests.procedures.dialogues --write` writes them anew: read each as the person at
the bench before it is kept."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from rodbench.bench import commission
from rodbench.bench.ask import Asker, Kind, Question, Typed
from rodbench.bench.job import Job
from rodbench.bench.keeper import KnownRod
from rodbench.bench.reach import AskedHand, Reach, keys_words
from rodbench.cli.talk import folded
from rodbench.emulator.plant import Mount, Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import RodbenchError
from rodbench.settings.units import Units

from ..harness import Bench, MemoryKeeper

FOLDER = Path(__file__).parent
MM_PER_IN = 25.4


@dataclass
class Talk:
    """One bench, and what the person there would type where the plant's eye does not know."""

    rod: Rod
    typed: dict[str, str]
    units: str = "mm"
    known: KnownRod | None = None
    mistyped: dict[str, str] = field(default_factory=dict)  # once, before the right answer


def rod(stroke_mm: float, **parts: dict[str, object]) -> Rod:
    """A rod of invented figures in mid travel; `parts`: motor={"reversed": True}."""
    made = Rod(name="north", stroke_mm=stroke_mm, start_mm=0.45 * stroke_mm)
    for part, values in parts.items():
        for name, value in values.items():
            setattr(getattr(made, part), name, value)
    return made


def _ordinary() -> Talk:
    return Talk(
        rod(100.0, motor={"reversed": True}, pot={"retracted": 0.9, "extended": 0.1}),
        {"retracted_pin_to_pin": "305", "extended_pin_to_pin": "405"},
        mistyped={"current_sensor_v_per_a": "185", "extended_pin_to_pin": "30.5"},
    )


def _mounted() -> Talk:
    made = rod(100.0)
    made.mount = Mount(18.0, 82.0)
    return Talk(
        made, {}, known=KnownRod(100.0, (815, 7360), ("end-switch", "end-switch"), 0.1, 305.0)
    )


def _without_sensor() -> Talk:
    return Talk(
        rod(60.0, ends={"kind": "hard"}, sensor={"kind": "none"}),
        {"retracted_pin_to_pin": "250", "extended_pin_to_pin": "310"},
    )


def _two_wires() -> Talk:
    return Talk(
        rod(60.0, pot={"fitted": False}),
        {"retracted_pin_to_pin": "250", "extended_pin_to_pin": "310"},
    )


def _swapped() -> Talk:
    return Talk(
        rod(100.0, pot={"wired": "wiper-on-supply"}),
        {"retracted_pin_to_pin": "305", "extended_pin_to_pin": "405"},
    )


def _inches() -> Talk:
    made = rod(50.8, sensor={"kind": "centred", "zero_v": 2.5, "v_per_a": 0.1, "ratiometric": True})
    return Talk(made, {"retracted_pin_to_pin": "10", "extended_pin_to_pin": "12"}, units="in")


TALKS: dict[str, Callable[[], Talk]] = {
    "ordinary": _ordinary,
    "mounted": _mounted,
    "no-current-sensor": _without_sensor,
    "two-wires": _two_wires,
    "swapped-wiper": _swapped,
    "inches-centred-sensor": _inches,
}
DECISIONS = {"rod": "north", "fuse_a": "7.5", "accept": "accept", "caution_crush": "north"}


class Person(Typed):
    """Types what the talk says, else what is to be seen; the prompt and the line are kept."""

    def __init__(self, talk: Talk, bench: Bench, out: io.StringIO) -> None:
        super().__init__(Line(out), out)
        self.talk, self.bench = talk, bench

    def answer(self, question: Question) -> str | None:
        mistyped = self.talk.mistyped.pop(question.id, None)
        assert isinstance(self.source, Line)
        self.source.lines = [*([mistyped] if mistyped else []), self._right(question)]
        return super().answer(question)

    def _right(self, question: Question) -> str:
        if question.menu:
            seen = self.bench.emulated.eye.look(question.id, 1)
            return str(question.choices.index(seen or "") + 1)
        said = {**DECISIONS, **self.talk.typed}
        if question.id in said:
            return said[question.id]
        if question.kind is Kind.CAUTION:
            return question.consent
        seen = self.bench.emulated.eye.look(question.id, 1)
        assert seen is not None, f"nobody answers {question.id}: {question.text}"
        if question.bare == "in":
            return f"{float(seen.removesuffix(' mm')) / MM_PER_IN:.2f}"
        return seen.removesuffix(" mm")


class Line(io.StringIO):
    """A terminal whose typed lines are echoed where the prompt stands."""

    def __init__(self, out: io.StringIO) -> None:
        super().__init__()
        self.out = out
        self.lines: list[str] = []

    def isatty(self) -> bool:
        return True

    def readline(self, size: int = -1) -> str:
        line = self.lines.pop(0) + "\n"
        self.out.write(line)
        return line


class Keys(AskedHand):
    """Arrow keys: what the person at them is told, and what is held."""

    def __init__(self, bench: Bench, out: io.StringIO) -> None:
        self.eye, self.out = bench.emulated.eye, out

    def bring(self, reach: Reach, end: str) -> None:
        reach.job.say(keys_words(end))
        way = "left" if end == "retracted" else "right"
        self.out.write(f"       [{way} held, then tapped; Enter]\n")
        with self.asked_of(reach):
            super().bring(reach, end)

    @contextmanager
    def asked_of(self, reach: Reach) -> Iterator[None]:
        """The eye tells what to press, without a prompt."""
        person, reach.job.asker = reach.job.asker, Asker(Seen(self.eye.look))
        try:
            yield
        finally:
            reach.job.asker = person


class Seen:
    """The eye as a source of answers."""

    def __init__(self, look: Callable[[str, int], str | None]) -> None:
        self.look = look

    def answer(self, question: Question) -> str | None:
        return self.look(question.id, 1)


def said(name: str) -> str:
    """The whole talk of a bench, as a terminal of 80 columns shows it."""
    talk = TALKS[name]()
    machine = Machine(
        name=name, seed=3, supply=Supply(volts=12.4, source_ohm=0.05), rods={1: talk.rod}
    )
    machine.board.boot_ms = 50.0
    bench, out = Bench.of(machine), io.StringIO()
    keeper = MemoryKeeper(bench.board)
    if talk.known is not None:
        keeper.known["north"] = talk.known
    asker = Asker(Person(talk, bench, out), hand=Keys(bench, out))

    def say(text: str) -> None:
        out.write("\n".join(part for line in text.split("\n") for part in folded(line)) + "\n")

    try:
        commission.run(Job(bench.board, 1, asker, say, units=Units(talk.units)), keeper)
    except RodbenchError as error:
        for label, text in (
            ("error", error.message),
            ("unchanged", error.kept),
            ("try", error.hint),
        ):
            if text:
                say(f"{label}: {text}")
    return out.getvalue()
