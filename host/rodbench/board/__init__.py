"""The typed API of a board: `Board.open(...)`, `board.axis(1)`."""

from rodbench.board.board import Axis, Board
from rodbench.board.motion import Motion, check_outcome
from rodbench.board.types import AxisSample, BoardSample, Event, Hello, Outcome, Sample

__all__ = [
    "Axis",
    "AxisSample",
    "Board",
    "BoardSample",
    "Event",
    "Hello",
    "Motion",
    "Outcome",
    "Sample",
    "check_outcome",
]
