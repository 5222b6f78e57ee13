"""Time, injected: one clock for board, link and procedure, wall time or virtual time."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Protocol

TICK_S = 0.005  # one tick of the board


class Clock(Protocol):
    """What waits and measures. Seconds from an arbitrary start, never backwards."""

    def now(self) -> float:
        """Seconds."""
        ...

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass (virtual time: step what is attached)."""
        ...


class WallClock:
    """Real time."""

    def now(self) -> float:
        """Seconds of the system's monotonic clock."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Sleep in real time."""
        time.sleep(max(0.0, seconds))


class VirtualClock:
    """Time that passes only when somebody sleeps, in whole ticks of 5 ms.

    Whoever lives in this time attaches a step function; it is called with 1 for each tick. A
    function attached twice is stepped once.
    """

    def __init__(self) -> None:
        self.ticks = 0
        self._steps: list[Callable[[int], object]] = []

    def attach(self, step: Callable[[int], object]) -> None:
        """Call `step(1)` for each tick that passes; it must not sleep on this clock."""
        if step not in self._steps:
            self._steps.append(step)

    def now(self) -> float:
        """Seconds since the clock was made."""
        return self.ticks * TICK_S

    def sleep(self, seconds: float) -> None:
        """Let the least whole number of ticks pass that is not shorter than `seconds`."""
        self.advance(math.ceil(seconds / TICK_S - 1e-9))

    def advance(self, ticks: int) -> None:
        """Let `ticks` ticks pass."""
        for _ in range(ticks):
            self.ticks += 1
            for step in self._steps:
                step(1)
