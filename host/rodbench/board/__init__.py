"""The typed API of a board: `Board.open(...)`, `board.axis(1)`."""

from rodbench.board.board import Axis, Board
from rodbench.board.motion import Motion, check_outcome
from rodbench.board.types import AxisSample, BoardSample, Event, Hello, Outcome, Sample
from rodbench.link.api import LinkStatistics

__all__ = [
    "Axis",
    "AxisSample",
    "Board",
    "BoardSample",
    "Event",
    "Hello",
    "LinkStatistics",
    "Motion",
    "Outcome",
    "Sample",
    "check_outcome",
]
