"""Who answers the questions of a procedure, and the key that stops the rod meanwhile."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from rodbench.bench.ask import Answers, AnswersFile, Asker, Eye, Question, Source, Typed, Yes
from rodbench.board import AxisSample, Board, Sample
from rodbench.cli import talk
from rodbench.cli.hand import KeysHand
from rodbench.cli.keys import Keys, keys
from rodbench.errors import Interrupted

if TYPE_CHECKING:
    from rodbench.cli.options import Setup


class AtTerminal:
    """A person at the terminal, with lines as usual while a question stands."""

    def __init__(self, terminal: Keys) -> None:
        self.terminal = terminal
        self.typed = Typed()

    def answer(self, question: Question) -> str | None:
        """The typed answer; None without a terminal."""
        self.terminal.drop()  # a key meant to stop the rod is no answer
        with self.terminal.cooked():
            answer = self.typed.answer(question)
        self.terminal.drop()
        return answer


class KeyStops:
    """A listener of a board: any key during a procedure stops the rod."""

    def __init__(self, terminal: Keys) -> None:
        self.terminal = terminal
        self._off = False

    @contextlib.contextmanager
    def off(self) -> Iterator[None]:
        """While this lasts the keys mean something else."""
        self._off = True
        try:
            yield
        finally:
            self._off = False

    def hear(self, sample: Sample) -> None:
        """Look for a key at each sample of an axis; a pause between two runs counts, too."""
        if self._off or not isinstance(sample, AxisSample):
            return
        if self.terminal.read(0.0):
            raise Interrupted(
                "a key was pressed",
                kept="The rod was stopped; the board keeps what it had stored before.",
            )


@contextlib.contextmanager
def asker(setup: Setup, board: Board) -> Iterator[Asker]:
    """Answers from --answers, --yes, the plant's eye, and the terminal, in this order."""
    sources: list[Source] = []
    if setup.answers is not None:
        sources.append(AnswersFile(setup.answers))
    if setup.ready_answers:
        sources.append(Answers(setup.ready_answers))
    if setup.yes:
        sources.append(Yes())
    if setup.eye is not None:
        from rodbench.emulator.eye import EyeClient

        setup.look = EyeClient(setup.eye).look
    if setup.look is not None:
        talk.say("emulated board, figures invented: what is to be seen there, the emulator tells")
        sources.append(Eye(setup.look))
    with keys() as terminal:
        if terminal is None:
            yield Asker(*sources)
            return
        listener = KeyStops(terminal)
        board.listeners.append(listener.hear)
        try:
            hand = None if setup.look else KeysHand(terminal, listener)
            yield Asker(*sources, AtTerminal(terminal), hand=hand)
        finally:
            board.listeners.remove(listener.hear)
