"""Board time through a recording, from its first sample on. Within one start of the board its own
ticks count; while it was away, up to the next start's first frame, the host's clock does."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rodbench.clock import TICK_S
from rodbench.record.layout import Heads

_HALF, _TURN = 1 << 31, 1 << 32
Floats = npt.NDArray[np.float64]


def since(tick: npt.NDArray[np.int64], begun: int) -> npt.NDArray[np.int64]:
    """Ticks from `begun` on, which count modulo 2^32; below 0 for earlier ones."""
    return (np.asarray(tick, np.int64) - begun + _HALF) % _TURN - _HALF


class Timeline:
    """Of the heads of a recording's blocks."""

    def __init__(self, heads: Heads) -> None:
        self._begun: dict[int, int] = {}  # first tick of each start of the board
        self._origin: dict[int, float] = {}  # and its time
        self.first: Floats = np.zeros(len(heads))  # time of each block's first and last sample
        last: Floats = np.zeros(len(heads))
        filled = heads["rows"].any(axis=1)
        end_s, host_us = 0.0, 0
        for start in np.unique(heads["start"][filled]).tolist():
            own = np.nonzero(filled & (heads["start"] == start))[0]
            ticks, begins_us = heads["ticks"][own], int(heads["host_us"][own[0]])
            away_s = max(0, begins_us - host_us) / 1e6 if self._begun else 0.0
            self._begun[start], self._origin[start] = int(ticks[0, 0]), end_s + away_s
            self.first[own] = self.times(start, ticks[:, 0])
            last[own] = self.times(start, ticks[:, 1])
            end_s = max(end_s, float(last[own].max()))
            host_us = int(heads["host_us"][own[-1]]) + int(heads["last_us"][own[-1]])
        self.last: Floats = np.maximum.accumulate(last)
        self.first[~filled] = self.last[~filled]

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return float(self.last[-1]) if len(self.last) else 0.0

    def at(self, start: int, tick: int) -> float:
        """Time of a tick of a start of the board."""
        ticks = (tick - self._begun.get(start, 0) + _HALF) % _TURN - _HALF
        return self._origin.get(start, 0.0) + ticks * TICK_S

    def times(self, start: int, ticks: npt.NDArray[np.int64]) -> Floats:
        """Times of ticks of a start of the board."""
        begun, origin = self._begun.get(start, 0), self._origin.get(start, 0.0)
        return np.asarray(origin + since(ticks, begun) * TICK_S, np.float64)
