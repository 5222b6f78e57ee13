"""An emulated board in real time: a thread steps it by the wall clock."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from rodbench.clock import TICK_S

# Further behind than this (a busy or suspended computer), the board's time stands still instead of
# running after it: many ticks in a burst would look like a silent host and end its motion.
BEHIND_S = 0.03


class SteppedBoard(Protocol):
    """A board that is stepped tick by tick: the emulated one, or the binary in a simulator."""

    def write(self, data: bytes) -> object: ...

    def read(self) -> bytes: ...

    def step(self, ticks: int = 1) -> object: ...

    def look(self, **question: Any) -> dict[str, Any]: ...

    def reset(self, cause: str = "external") -> object: ...

    def close(self) -> object: ...


class PacedBoard:
    """Steps `board` at `speed` times real time; `take` is called from the pacing thread with the
    bytes that reach the host."""

    def __init__(
        self, board: SteppedBoard, take: Callable[[bytes], object], speed: float = 1.0
    ) -> None:
        self.board = board
        self.slipped_s = 0.0  # wall time in which the board stood still
        self.broken: BaseException | None = None  # a fault of ours that ended the stepping
        self._period = TICK_S / speed
        self._take = take
        self._lock = threading.Lock()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="emulated board", daemon=True)
        self._thread.start()

    def write(self, data: bytes) -> None:
        """Bytes from the host into the board's line."""
        with self._lock:
            self.board.write(data)

    def look(self, **question: Any) -> dict[str, Any]:
        """Ask the machine's eye."""
        with self._lock:
            return self.board.look(**question)

    def reset(self, cause: str = "external") -> None:
        """Restart the board, as opening its port does."""
        with self._lock:
            self.board.reset(cause)

    def close(self) -> None:
        """Stop stepping and keep the state. Safe to repeat."""
        if self._ending.is_set():
            return
        self._ending.set()
        self._thread.join(1.0)
        with self._lock:
            self.board.close()

    def _run(self) -> None:
        try:
            self._keep_pace()
        except BaseException as fault:
            self.broken = fault

    def _keep_pace(self) -> None:
        due = time.monotonic() + self._period
        while not self._ending.is_set():
            wait = due - time.monotonic()
            if wait > 0.0:
                self._ending.wait(wait)
                continue
            if -wait > BEHIND_S:
                self.slipped_s -= wait
                due -= wait
            with self._lock:
                self.board.step()
                data = self.board.read()
            if data:
                self._take(data)
            due += self._period
