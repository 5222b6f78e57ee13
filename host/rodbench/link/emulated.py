"""The emulated board as a port of this process, in real time. The only module that opens the
emulator."""

from __future__ import annotations

import queue
from typing import Any

from rodbench.emulator.open import open_paced


class LiveEmulator:
    """An emulated board that lives in a thread of its own."""

    threaded = True

    def __init__(self, spec: str, folder: str | None = None) -> None:
        self.name = spec
        self._come: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._paced = open_paced(spec, self._come.put, folder)
        self.write = self._paced.write

    def read(self, timeout_s: float) -> bytes:
        """What has come over the board's line, waiting up to `timeout_s` for the first."""
        try:
            return self._come.get(timeout=timeout_s)
        except queue.Empty:
            return b""

    def look(self, question: dict[str, Any]) -> dict[str, Any]:
        """What a person beside the machine would say."""
        return self._paced.look(**question)

    def end(self) -> None:
        """End it and keep its state; safe to repeat."""
        self._paced.close()

    def close(self) -> None:
        """A client gives the port up; the board lives on until `end`."""
