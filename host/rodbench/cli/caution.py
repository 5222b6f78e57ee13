"""What is said before a motion command moves anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.cli.options import Setup

CAUTION = (
    "! The rod can crush a hand. Clamp the body, nothing between the ends, a switch "
    "that cuts motor power within reach. Soft stops and trips are no safety function; "
    "a load that can push the rod back needs a brake. Local codes and those licensed "
    "for the work come first."
)
KIND = "caution"


def before_motion(setup: Setup, board: Board, axis: int, live: Mapping[str, int]) -> None:
    """The caution, once per logbook, and what is not guarded, each time; `live`: the settings of
    the axis in force.

    Raises NeedsPerson when nobody can accept the caution, UsageError when it was not accepted.
    """
    from rodbench.bench.guarded import not_guarded

    if live["feedback"]:
        talk.say(not_guarded(board.read_scope(0), live))
    consent(setup, board, axis)


def before_page(setup: Setup, board: Board) -> None:
    """The same before a page may move what is on this board."""
    from rodbench.bench.guarded import not_guarded

    scopes = {number: board.read_scope(number) for number in board.scopes}
    fitted = [number for number in scopes if number and scopes[number]["feedback"]]
    for number in fitted:
        talk.say(f"axis {number}: {not_guarded(scopes[0], scopes[number])}")
    consent(setup, board, fitted[0] if fitted else 0)


def accepted(setup: Setup) -> bool:
    """Whether the logbook has it that the caution was accepted."""
    return setup.has_machine and setup.logbook().has(KIND)


def note(setup: Setup, board: Board, axis: int, by: str) -> None:
    """Into the logbook: the caution was accepted."""
    setup.log(board, KIND, axis=axis, text=CAUTION, by=by)


def consent(setup: Setup, board: Board, axis: int) -> None:
    """The caution, once per logbook. Raises as before_motion; `axis` 0: any."""
    if accepted(setup):
        return
    talk.say(CAUTION)
    if not setup.yes:
        _ask()
    note(setup, board, axis, "--yes" if setup.yes else "typed")


def _ask() -> None:
    from rodbench.bench.ask import Asker, Kind, Question, Typed

    question = Question("caution_motion", "Go on?", Kind.CAUTION, ("yes", "no"))
    if not Asker(Typed()).accept(question):
        raise UsageError("the caution was not accepted", kept="Nothing moved.")
