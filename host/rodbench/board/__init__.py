"""The typed API of a board: `Board.open(...)`, `board.axis(1)`."""

from rodbench.board.board import Axis, Board
from rodbench.board.motion import Motion, check_outcome
from rodbench.board.types import (
    RESTING,
    RUNNING,
    AxisSample,
    BlackBox,
    BoardSample,
    BoxSample,
    Event,
    Hello,
    Outcome,
    Sample,
    Totals,
    Trip,
)
from rodbench.link.api import LinkStatistics

__all__ = [
    "RESTING",
    "RUNNING",
    "Axis",
    "AxisSample",
    "BlackBox",
    "Board",
    "BoardSample",
    "BoxSample",
    "Event",
    "Hello",
    "LinkStatistics",
    "Motion",
    "Outcome",
    "Sample",
    "Totals",
    "Trip",
    "check_outcome",
]
