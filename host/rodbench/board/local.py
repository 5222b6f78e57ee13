"""What commands an axis without a computer, and who commands it now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import LocalSource

from rodbench.errors import Refused

if TYPE_CHECKING:
    from rodbench.board.board import Board

INPUTS = {
    LocalSource.BUTTONS: "its buttons",
    LocalSource.STICK: "its stick",
    LocalSource.PULSE: "its servo pulse",
}


def input_words(source: int) -> str:
    """`its stick`; of a source that is unknown here `its local input`."""
    return next((words for known, words in INPUTS.items() if known == source), "its local input")


def refused(board: Board, axis: int, error: Refused) -> Refused:
    """The board's refusal in the words of who commands, and how to take the axis."""
    gang = board.read_scope(0).get("apart_trip_um", 0)
    by = 1 if gang else axis  # of a gang the input of axis 1 commands both
    words = input_words(board.read_scope(by).get("local_source", 0))
    return Refused(
        f"axis {by} is commanded by {words}",
        request=error.request,
        status=error.status,
        status_name=error.status_name,
        detail=error.detail,
        kept=error.kept,
        hint=f"rodbench local {by} --take",
    )
