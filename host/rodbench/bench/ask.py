"""One prompt for everything that a person must say.

Facts are never invented: `--yes` accepts cautions, nothing else.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TextIO

from rodbench.errors import NeedsPerson, UsageError
from rodbench.settings.quantity import QuantityError, convert

if TYPE_CHECKING:
    from .reach import Hand

TRIES = 3  # mistyped answers before the prompt gives up
MENU_FROM = 60  # characters of choices: from here each has a line and a number


class Kind(Enum):
    """What an answer is: something seen, a caution taken, or a choice made."""

    FACT = "fact"
    CAUTION = "caution"
    DECISION = "decision"


@dataclass(frozen=True, slots=True)
class Question:
    """`choices` empty: free text, or a quantity in `unit` when that is set, a bare number then
    counting in `bare` (else in `unit`). `enter`: what an empty line of a person means. `check` says
    why a value of the right form (a number, or a text) cannot be meant; None when it can."""

    id: str
    text: str
    kind: Kind = Kind.FACT
    choices: tuple[str, ...] = ()
    unit: str | None = None
    consent: str = "yes"  # the answer that accepts a caution
    enter: str = ""
    bare: str = ""
    check: Callable[[Any], str | None] | None = None

    @property
    def menu(self) -> bool:
        """Whether the choices are too long for one line."""
        return sum(map(len, self.choices)) > MENU_FROM

    def wrong(self, answer: str) -> str | None:
        """Why this is no answer to the question; None when it is one."""
        if not answer:
            return "an empty answer"
        if self.choices and answer not in self.choices:
            return f"'{answer}' is none of: {', '.join(self.choices)}"
        value: str | float = answer
        if self.unit is not None:
            try:
                value = self.number(answer)
            except QuantityError as error:
                return str(error)
        return self.check(value) if self.check else None

    def number(self, answer: str) -> float:
        """The answer in `unit`. Raises QuantityError."""
        try:
            bare = float(answer)
        except ValueError:
            return convert(answer, self.unit or "")
        if not isfinite(bare):
            raise QuantityError("a number beyond all bounds")
        in_unit = self.bare in ("", self.unit)
        return bare if in_unit else convert(f"{bare!r} {self.bare}", self.unit or "")


class Source(Protocol):
    """Where answers come from; None: none from here."""

    def answer(self, question: Question) -> str | None: ...


class Asker:
    """Asks each source in turn. Raises NeedsPerson when none can answer.

    `hand`: of the person who answers, at the keys of a terminal; None: there is none.
    """

    def __init__(self, *sources: Source, hand: Hand | None = None) -> None:
        self.sources = sources
        self.hand = hand

    def ask(self, question: Question) -> str:
        """The first answer. Raises UsageError for one that does not fit the question."""
        for source in self.sources:
            answer = source.answer(question)
            if answer is None:
                continue
            if wrong := question.wrong(answer):
                raise UsageError(f"answer '{question.id}': {wrong}", hint=question.text.strip())
            return answer
        raise NeedsPerson(
            f"a person must look: {question.text.strip()} [{question.id}]",
            kept="The rod stands still.",
            hint=f"Answer at a terminal, or with --answers FILE that has a line: {question.id} = "
            f'"..." {_list(question.choices)}'.rstrip(),
        )

    def number(self, question: Question) -> float:
        """The answer to a question with a unit, in that unit."""
        return question.number(self.ask(question))

    def accept(self, question: Question) -> bool:
        """Whether a caution was accepted."""
        return self.ask(question) == question.consent


class Yes:
    """`--yes`: accepts cautions. Facts and decisions stay open."""

    def answer(self, question: Question) -> str | None:
        return question.consent if question.kind is Kind.CAUTION else None


class Answers:
    """Answers given beforehand: id -> answer."""

    def __init__(self, answers: Mapping[str, object]) -> None:
        self.answers = answers

    def answer(self, question: Question) -> str | None:
        value = self.answers.get(question.id)
        if value is None:
            return None
        if isinstance(value, bool):
            return "yes" if value else "no"
        return str(value).strip()


class AnswersFile(Answers):
    """`--answers FILE`: TOML, question id = answer."""

    def __init__(self, path: Path) -> None:
        try:
            table = tomllib.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise UsageError(f"cannot read the answers in {path}: {error.strerror}") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise UsageError(
                f"{path} is not TOML: {error}", hint='One line an answer: run_a = "out"'
            ) from None
        for name, value in table.items():
            if isinstance(value, dict | list):
                raise UsageError(f"{path}: {name} must be one value, a text, a number or true")
        super().__init__(table)


class Eye:
    """Eyes of an emulated plant: a function from question id to what is seen, or None."""

    def __init__(self, look: Callable[[str], str | None]) -> None:
        self.look = look

    def answer(self, question: Question) -> str | None:
        return self.look(question.id) if question.kind is Kind.FACT else None


class Typed:
    """A person at a terminal. The prompt goes to stderr; no terminal, no answer."""

    def __init__(self, source: TextIO | None = None, prompt: TextIO | None = None) -> None:
        self.source = source if source is not None else sys.stdin
        self.prompt = prompt if prompt is not None else sys.stderr

    def answer(self, question: Question) -> str | None:
        if not self.source.isatty():
            return None
        for _ in range(TRIES):
            self._write(_prompt(question))
            line = self.source.readline()
            if not line:
                return None
            answer = _whole(line.strip() or question.enter, question)
            wrong = question.wrong(answer)
            if wrong is None:
                return answer
            self._write(f"       {wrong}\n")
        return None

    def _write(self, text: str) -> None:
        self.prompt.write(text)
        self.prompt.flush()


def _whole(typed: str, question: Question) -> str:
    """A choice may be shortened as long as it is the only one that begins so, and one of a menu
    may be given by its number."""
    choices = question.choices
    if question.menu and typed.isdecimal() and 1 <= int(typed) <= len(choices):
        return choices[int(typed) - 1]
    near = [choice for choice in choices if choice.startswith(typed.lower())] if typed else []
    return near[0] if len(near) == 1 else typed


def _prompt(question: Question) -> str:
    if not question.menu:
        return f"{question.text} {_list(question.choices)}".rstrip() + " "
    margin = " " * (len(question.text) - len(question.text.lstrip()))
    lines = [f"{margin}  {number} {c}" for number, c in enumerate(question.choices, 1)]
    return "\n".join([question.text, *lines, f"{margin}1 to {len(lines)}? "])


def _list(choices: Sequence[str]) -> str:
    return f"({' / '.join(choices)})" if choices else ""
