"""rodbench clear"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board
from rodbench.errors import Faulted, RodbenchError

if TYPE_CHECKING:
    from rodbench.board import Board

AGAIN_S = 0.6  # the longest filter time of a cause that stands at rest, and a telemetry period


@click.command("clear")
@click.argument("axis", type=click.IntRange(0, 2), metavar="[AXIS]", default=0)
@for_board
def command(setup: Setup, axis: int) -> None:
    """Clear latched faults of one axis, or of all and the board.

    Look for the cause first: a fault whose cause still stands comes back at once, and is said
    again (exit code 8).

    \b
    Example:  rodbench clear 1
    """
    from rodbench.show.words import fault_names

    with setup.board("clear") as board:
        _remember_trips(setup, board)
        names = fault_names(board.clear(axis))
        if names:
            setup.log(board, "clear", axis=axis, faults=names)
        back = _back_again(board, axis) if names else {}
    words = ", ".join(name.replace("_", " ") for name in names)
    talk.result(
        {"cleared": names, "back": {str(number): stand for number, stand in back.items()}},
        f"cleared: {words}" if names else "no fault stood",
        setup.as_json,
    )
    if back:
        raise _still(back)


def _remember_trips(setup: Setup, board: Board) -> None:
    """Why it had stopped goes into the logbook; an older board keeps no trips."""
    from rodbench.cli.trips import remember

    if setup.has_machine:
        with contextlib.suppress(RodbenchError):
            remember(setup, board, board.trips())


def _back_again(board: Board, axis: int) -> dict[int, list[str]]:
    """Faults that came back at once, by axis, 0 being the board."""
    from rodbench.show.words import fault_names

    board.watch(AGAIN_S)
    faults = {number: sample.faults for number, sample in board.last_axis.items()}
    faults[0] = board.last_board.faults if board.last_board else 0
    asked = faults if not axis else {axis}
    return {number: fault_names(faults[number]) for number in asked if faults.get(number)}


def _still(back: dict[int, list[str]]) -> Faulted:
    from rodbench_protocol.names import Fault

    from rodbench.show.words import fault_sentence

    axis, names = min(back.items())
    sentence = fault_sentence(names[0], axis)
    what, _, todo = sentence.partition(" To do: ")
    who = f"axis {axis}" if axis else "the board"
    return Faulted(
        f"{who}: the cause still stands. {what}",
        axis=axis,
        fault=Fault[names[0].upper()],
        kept="The fault is latched again: nothing moves until it is cleared.",
        hint=todo,
    )
