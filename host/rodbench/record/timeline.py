"""Board time through a recording, from its first sample on. Within one start of the board its own
ticks count; while it was away, up to the next start's first frame, the host's clock does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from rodbench.clock import TICK_S
from rodbench.record.layout import Head

_HALF, _TURN = 1 << 31, 1 << 32


def since(tick: npt.NDArray[np.int64] | int, begun: int) -> npt.NDArray[np.int64]:
    """Ticks from `begun` on, which count modulo 2^32; below 0 for earlier ones."""
    return (np.asarray(tick, np.int64) - begun + _HALF) % _TURN - _HALF


class Timeline:
    """Of the heads of a recording's blocks."""

    def __init__(self, heads: Sequence[Head]) -> None:
        self._begun: dict[int, int] = {}  # first tick of each start of the board
        self._origin: dict[int, float] = {}  # and its time
        self.first = np.zeros(len(heads))  # time of each block's first and last sample
        self.last = np.zeros(len(heads))
        end_s, host_us = 0.0, 0
        for index, head in enumerate(heads):
            if any(head.rows):
                if head.start not in self._begun:
                    away_s = max(0, head.host_us[0] - host_us) / 1e6 if self._begun else 0.0
                    self._begun[head.start] = head.ticks[0]
                    self._origin[head.start] = end_s + away_s
                self.first[index] = self.at(head.start, head.ticks[0])
                end_s = max(end_s, self.at(head.start, head.ticks[1]))
                host_us = head.host_us[1]
            else:
                self.first[index] = end_s
            self.last[index] = end_s

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return float(self.last[-1]) if len(self.last) else 0.0

    def at(self, start: int, tick: int) -> float:
        """Time of a tick of a start of the board."""
        return float(self.times(start, np.array([tick]))[0])

    def times(self, start: int, ticks: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        """Times of ticks of a start of the board."""
        begun, origin = self._begun.get(start, 0), self._origin.get(start, 0.0)
        return np.asarray(origin + since(ticks, begun) * TICK_S, np.float64)
