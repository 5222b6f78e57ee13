"""Opening the board that a command was given."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from rodbench.board import Board
from rodbench.cli import talk
from rodbench.cli.options import Setup
from rodbench.errors import UsageError


@contextlib.contextmanager
def open_board(setup: Setup, who: str) -> Iterator[Board]:
    """The board of `setup`, closed at the end. Raises what Board.open raises."""
    if setup.speed == "max":
        with _in_process(setup) as board:
            yield board
        return
    folder = str(setup.folder)
    with Board.open(setup.port_name(), folder=folder, warn=_warn, who=who) as board:
        if setup.emulated():
            setup.look = lambda question: _ask_eye(board, question)
        yield board


def _ask_eye(board: Board, question: str) -> str | None:
    """The eye of the plant that lives in the owner process."""
    from rodbench.owner.link import OwnerLink

    assert isinstance(board.link, OwnerLink)
    answer = board.link.eye(id=question).get("answer")
    return None if answer is None else str(answer)


@contextlib.contextmanager
def _in_process(setup: Setup) -> Iterator[Board]:
    from rodbench.clock import VirtualClock
    from rodbench.emulator.eye import Eye
    from rodbench.emulator.open import open_emulator
    from rodbench.link.transport import EmulatorTransport

    if not setup.emulated():
        raise UsageError(
            f"--speed max needs an emulated board, not {setup.port_name()}",
            kept="nothing was sent",
            hint="--port emulator --speed max",
        )
    clock = VirtualClock()
    emulated = open_emulator(setup.port_name(), clock, setup.folder if setup.has_machine else None)
    setup.look, setup.rig = Eye(emulated.rig).look, emulated.rig
    try:
        with Board.direct(EmulatorTransport(emulated, clock), clock, warn=_warn) as board:
            yield board
    finally:
        emulated.close()


def _warn(text: str) -> None:
    talk.say(f"note: {text}")
