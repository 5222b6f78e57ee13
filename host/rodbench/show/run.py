"""A run as it was seen: samples and events of one axis, for tables and plots."""

from __future__ import annotations

from types import TracebackType

from rodbench.board import AxisSample, Board, BoardSample, Event, Sample
from rodbench.clock import TICK_S


class Recorder:
    """Listens to a board while it is the context, and keeps one axis."""

    def __init__(self, board: Board, axis: int) -> None:
        self.board = board
        self.axis = axis
        self.samples: list[AxisSample] = []
        self.events: list[Event] = []
        self.supplies: list[BoardSample] = []

    @property
    def seconds(self) -> float:
        """Board time from the first to the last sample with motion, in s."""
        moving = [s for s in self.samples if s.output != 0.0]
        return (moving[-1].tick - moving[0].tick + 1) * TICK_S if moving else 0.0

    def hear(self, sample: Sample) -> None:
        """Take a sample."""
        if isinstance(sample, BoardSample):
            self.supplies.append(sample)
        elif sample.axis == self.axis:
            if isinstance(sample, AxisSample):
                self.samples.append(sample)
            else:
                self.events.append(sample)

    def __enter__(self) -> Recorder:
        self.board.listeners.append(self.hear)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.board.listeners.remove(self.hear)
