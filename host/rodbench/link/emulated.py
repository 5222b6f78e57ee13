"""The emulated board as a port of this process. The only module that opens the emulator."""

from __future__ import annotations

import threading
import time
from typing import Any

from rodbench.clock import TICK_S
from rodbench.emulator.open import open_emulator
from rodbench.errors import LinkLost

BEHIND_S = 0.25  # further behind real time than this: let the time go


class LiveEmulator:
    """An emulated board that lives in real time, in a thread of its own."""

    threaded = True

    def __init__(self, spec: str, folder: str | None = None) -> None:
        self.name = spec
        self.board = open_emulator(spec, folder=folder)
        self._changed = threading.Condition()
        self._come = bytearray()
        self._ending = False
        self._broken: BaseException | None = None
        self._thread = threading.Thread(target=self._live, name="emulator", daemon=True)
        self._thread.start()

    def write(self, data: bytes) -> None:
        """Into the board's line."""
        with self._changed:
            self._check()
            self.board.write(data)

    def read(self, timeout_s: float) -> bytes:
        """What has come over the board's line."""
        with self._changed:
            self._changed.wait_for(lambda: self._come or self._ending or self._broken, timeout_s)
            if not self._come:
                self._check()
            data = bytes(self._come)
            self._come.clear()
            return data

    def look(self, question: dict[str, Any]) -> dict[str, Any]:
        """What a person beside the machine would say."""
        with self._changed:
            return self.board.look(**question)

    def close(self) -> None:
        """End it and keep its state; safe to repeat."""
        with self._changed:
            if self._ending:
                return
            self._ending = True
            self._changed.notify_all()
        self._thread.join(2.0)
        self.board.close()

    def _check(self) -> None:
        if self._broken is not None:
            raise LinkLost(f"the emulator broke: {self._broken!r}")
        if self._ending:
            raise LinkLost("the emulator was closed")

    def _live(self) -> None:
        due = time.monotonic()
        try:
            while not self._ending:
                due += TICK_S
                with self._changed:
                    self.board.step(1)
                    self._come += self.board.read()
                    if self._come:
                        self._changed.notify_all()
                late = time.monotonic() - due
                if late < 0:
                    time.sleep(-late)
                elif late > BEHIND_S:
                    due = time.monotonic()
        except BaseException as error:
            with self._changed:
                self._broken = error
                self._changed.notify_all()
            raise
