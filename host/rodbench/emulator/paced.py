"""An emulated board in real time: a thread steps it by the wall clock."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

from rodbench.clock import TICK_S
from rodbench.emulator.board import EmulatedBoard

BEHIND_S = 0.25  # further behind than this (a suspended computer): the board's time stood still


class PacedBoard:
    """Steps `board` at `speed` times real time. `take`, if given, is called from the pacing thread
    with the bytes that reach the host; without it they wait for `read`."""

    def __init__(
        self,
        board: EmulatedBoard,
        speed: float = 1.0,
        take: Callable[[bytes], None] | None = None,
    ) -> None:
        self.board = board
        self.slipped_s = 0.0  # wall time in which the board stood still
        self._period = TICK_S / speed
        self._take = take or self._keep
        self._received = bytearray()
        self._come = threading.Condition()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="emulated board", daemon=True)
        self._thread.start()

    def write(self, data: bytes) -> None:
        """Bytes from the host into the board's line."""
        with self._come:
            self.board.write(data)

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have reached the host, waiting up to `timeout_s` for the first."""
        with self._come:
            if not self._received:
                self._come.wait_for(lambda: self._received or self._ending.is_set(), timeout_s)
            data = bytes(self._received)
            self._received.clear()
        return data

    def look(self, **question: Any) -> dict[str, Any]:
        """Ask the machine's eye."""
        with self._come:
            return self.board.look(**question)

    def reset(self, cause: str = "external") -> None:
        """Restart the board, as opening its port does."""
        with self._come:
            self.board.reset(cause)

    def close(self) -> None:
        """Stop stepping and keep the state. Safe to repeat."""
        if self._ending.is_set():
            return
        self._ending.set()
        self._thread.join(1.0)
        with self._come:
            self._come.notify_all()
            self.board.close()

    def _keep(self, data: bytes) -> None:
        with self._come:
            self._received += data
            self._come.notify_all()

    def _run(self) -> None:
        due = time.monotonic() + self._period
        while not self._ending.is_set():
            wait = due - time.monotonic()
            if wait > 0.0:
                self._ending.wait(wait)
                continue
            if -wait > BEHIND_S:
                self.slipped_s -= wait
                due -= wait
            with self._come:
                self.board.step()
                data = self.board.read()
            if data:
                self._take(data)
            due += self._period
