"""Two rods as one, in words: what is said before both move, and what one alone may not do."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.errors import Refused, UsageError

if TYPE_CHECKING:
    from rodbench.board import Board, Outcome
    from rodbench.board.gang import Gang
    from rodbench.cli.options import Setup
    from rodbench.settings.units import Units

PAIRING = (
    "both rods move as one from now on. In this order: bring them level, closed and unlinked, with "
    "`rodbench level`; then bolt the bar; then move."
)
_UNPAIR = (
    "Unbolt the bar, take [gang] out of the machine file, `rodbench settings push`. When both are "
    "calibrated: close each, put [gang] back, push, `rodbench level`, bolt the bar."
)


def needed(board: Board) -> Gang:
    """The gang in force. Raises UsageError where each axis moves alone."""
    from rodbench.board.gang import Gang

    gang = Gang.of(board)
    if gang is None:
        raise UsageError(
            "nothing is ganged on this board: each axis moves alone",
            kept="Nothing moved.",
            hint="[gang] in the machine file and `rodbench settings push` make two rods one; "
            "for one rod: `rodbench jog`",
        )
    return gang


def say_both(board: Board, axis: int) -> Gang | None:
    """Says that the other rod moves too; None where the axis moves alone."""
    from rodbench.board.gang import Gang

    gang = Gang.of(board)
    if gang is not None:
        talk.say(f"Axis {axis} is ganged with axis {3 - axis}: both move.")
    return gang


def refuse_alone(setup: Setup, board: Board, axis: int) -> None:
    """Raises UsageError where file or board gang the axis: nothing is learned of such a rod."""
    from rodbench.board.gang import Gang

    where = ""
    if setup.has_machine and setup.machine().scope(0)["apart_trip_um"]:
        where = f"[gang] in the machine file has axis {axis}"
    elif Gang.of(board) is not None:
        where = f"axis {axis} is ganged with axis {3 - axis} on this board"
    if where:
        raise UsageError(
            f"{where}: nothing is learned of one rod of a gang alone",
            kept="Nothing moved.",
            hint=_UNPAIR,
        )


@contextlib.contextmanager
def refused(gang: Gang | None, board: Board, axis: int, mm: float, units: Units) -> Iterator[None]:
    """While the board may refuse a place: says as well where the other rod would have to go."""
    try:
        yield
    except Refused as error:
        if gang is not None and error.status_name == "outside":
            live = board.read_scope(3 - axis)
            stops = units.span(live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000)
            place = units.length(gang.same_place_mm(axis, mm))
            error.hint = f"{error.hint}; axis {3 - axis} would go to {place}, its are at {stops}"
        raise


def first_to_end(board: Board, outcome: Outcome) -> Outcome:
    """Of a gang, the outcome that ended both; else the same."""
    from rodbench_protocol.names import Ended

    return board.outcome(3 - outcome.axis) if outcome.ended == Ended.GANG else outcome
