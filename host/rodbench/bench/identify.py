"""Unknown wires: a person reads an ohm meter pair by pair, and hears which wire is which."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rodbench.errors import UsageError
from rodbench.science.identify import Battery, Identification, Move, Verdict
from rodbench.science.wirings import OPEN_OHM, Probe, Reading

from .ask import Asker, Kind, Question

HOW_TO_READ = (
    "Unplug the rod from everything. Ohm meter on automatic range; hold no metal of the probes.\n"
    'Type what it shows: 4.7k, 0.5, 1.2M, or "open" (also OL) when it shows no value.'
)
BATTERY = (
    "! The rod will move and can crush a hand. Clamp the body, nothing between the ends. Use a "
    "9 V or 12 V battery behind a 2 A fuse, or a supply limited to 1 A, on the named wires only, "
    "for a second at a time: nothing stops it but you."
)
_OPEN = {"open", "ol", "o.l", "o.l.", "0l", "0.l", "inf", "infinite", "none"}
_VALUE = re.compile(r"(\d+)(?:([.rkm])(\d*))? ?(k|m|r)? ?(?:ohms?|Ω|ω)?", re.IGNORECASE)
_FACTOR = {"k": 1e3, "m": 1e6, "r": 1.0, ".": 1.0, "": 1.0}


@dataclass(frozen=True, slots=True)
class Identified:
    """The verdict, the names of the wires, how many readings it took and what they were."""

    names: tuple[str, ...]
    verdict: Verdict
    readings: tuple[tuple[str, str], ...]  # question id, answer


def ohm(text: str) -> Reading:
    """`4.7k`, `4k7`, `0.5`, `5 kohm`, `1.2M`, `open`, `OL` as a reading.

    Raises ValueError with what is wrong, in words.
    """
    typed = text.strip()
    if typed.lower() in _OPEN:
        return Reading(OPEN_OHM)
    if "," in typed:
        raise ValueError("a decimal comma: write a point")
    found = _VALUE.fullmatch(typed)
    if not found:
        raise ValueError('no reading of an ohm meter: 4.7k, 0.5 or "open"')
    whole, mark, rest, tail = (part or "" for part in found.groups())
    mark, tail = mark.lower(), tail.lower()
    if mark in ("k", "m", "r") and tail:
        raise ValueError("the multiplier stands there twice")
    factor = _FACTOR[tail or mark]
    step = factor * 10.0 ** -len(rest)
    return Reading(float(f"{whole}.{rest or '0'}") * factor, step / 2.0)


def check_ohm(text: str) -> str | None:
    """Why a text is no reading; None when it is one."""
    try:
        ohm(text)
    except ValueError as error:
        return str(error)
    return None


def wire_names(text: str) -> tuple[str, ...]:
    """Names from `red, black, ...`. Raises UsageError for fewer than 2, more than 8, or doubles."""
    names = tuple(name.strip() for name in re.split(r"[,;]", text) if name.strip())
    slugs = [_slug(name) for name in names]
    if not 2 <= len(names) <= 8:
        raise UsageError(
            f"{len(names)} wires: from 2 to 8 can be told apart",
            hint='Names with commas: "red, black, white". Tags do as well: "1, 2, 3".',
        )
    if len(set(slugs)) < len(slugs) or "" in slugs:
        raise UsageError("every wire needs a name of its own", hint="Put a tag on those alike.")
    return names


def identify(
    names: Sequence[str], asker: Asker, say: Callable[[str], None], motor: bool = True
) -> Identified:
    """Ask until every wire has its place, or nothing more can be learned. `motor`: the motor's
    two wires are among the names. Raises NeedsPerson when nobody answers."""
    talk = _Talk(tuple(names), asker, say, Identification(len(names), motor))
    say(HOW_TO_READ)
    while (step := talk.found.next()) is not None:
        if isinstance(step, Probe):
            talk.probe(step)
        elif isinstance(step, Battery):
            talk.battery(step)
        else:
            talk.move(step)
    return Identified(talk.names, talk.found.verdict(), tuple(talk.log))


class _Talk:
    """The questions of one identification and their answers."""

    def __init__(
        self,
        names: tuple[str, ...],
        asker: Asker,
        say: Callable[[str], None],
        found: Identification,
    ) -> None:
        self.names, self.asker, self.say, self.found = names, asker, say, found
        self.log: list[tuple[str, str]] = []

    def probe(self, probe: Probe) -> None:
        red, black = self.names[probe.red], self.names[probe.black]
        where = f"_{probe.place + 1}" if probe.place else ""
        question = Question(
            f"ohm_{_slug(red)}_{_slug(black)}{where}",
            f"Red probe on {red}, black probe on {black}: ohm?",
            check=check_ohm,
        )
        answer = self._ask(question)
        self.found.read(probe, ohm(answer))

    def battery(self, step: Battery) -> None:
        """Two wires that read open may be a motor at its end switch."""
        one, two = (self.names[w] for w in step.wires)
        self.say(f"{one} and {two} read open: a motor that rests at its end switch does so.")
        if not self._may_move():
            return
        text = f"Battery on {one} and {two}, then the other way round: does the rod move?"
        name = f"battery_{_slug(one)}_{_slug(two)}"
        answer = self._ask(Question(name, text, choices=("yes", "no", "leave")))
        if answer == "leave":
            self.found.halt()
        else:
            self.found.battery(step.wires, answer == "yes")

    def move(self, step: Move) -> None:
        """Readings at another place decide more."""
        one, two = (self.names[w] for w in step.wires)
        near_end = "This place of the rod does not decide it: near an end the wiper reads like it."
        contact = "Wires that read open may be a contact that closes at another place of the rod."
        self.say(near_end if self.found.verdict().track else contact)
        if not self._may_move():
            return
        text = (
            f"Move the rod to about mid stroke, or far from here, by a battery on {one} and {two}."
        )
        question = Question(f"moved_{self.found.place + 1}", text, choices=("moved", "leave"))
        if self._ask(question) == "moved":
            self.found.moved()
        else:
            self.found.halt()

    def _may_move(self) -> bool:
        """The caution, once; without it the rod stays where it is."""
        if any(name == "caution_battery" for name, _ in self.log):
            return True
        self.say(BATTERY)
        question = Question("caution_battery", "Go on?", Kind.CAUTION, ("yes", "no"))
        if self._ask(question) == "yes":
            return True
        self.found.halt()
        return False

    def _ask(self, question: Question) -> str:
        answer = self.asker.ask(question)
        self.log.append((question.id, answer))
        return answer


def _slug(name: str) -> str:
    return re.sub(r"\W+", "_", name.strip().lower()).strip("_")
