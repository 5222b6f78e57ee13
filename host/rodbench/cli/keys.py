"""Single keys from a terminal, without waiting for Enter. The terminal is always put back."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from typing import Any

from rodbench.errors import Interrupted

_ESCAPES = {"\x1b[C": "right", "\x1b[D": "left", "\x1b[A": "up", "\x1b[B": "down"}
_ESCAPES |= {key.replace("[", "O"): name for key, name in _ESCAPES.items()}
# Windows' second byte after 0x00 or 0xE0. Never tried: written from memory.
_WINDOWS = {"M": "right", "K": "left", "H": "up", "P": "down"}
_PLAIN = {" ": "stop", "\x1b": "quit", "q": "quit", "Q": "quit", "\x04": "quit"}
_PLAIN |= dict.fromkeys("\r\n", "enter") | {key: key for key in "12jy"}
ESCAPE_S = 0.03  # a slow line may cut the sequence of an arrow key in two


class Keys:
    """Keys of a terminal as words: left, right, up, down, stop, quit, enter, other, the letters
    and digits that some command has a use for, or "" for none."""

    def read(self, timeout_s: float) -> str:
        """The next key, waiting up to `timeout_s`. Raises Interrupted when the terminal is gone."""
        raise NotImplementedError

    def drop(self) -> None:
        """Forget keys that were typed ahead."""

    @contextlib.contextmanager
    def cooked(self) -> Iterator[None]:
        """Lines as usual while a question is asked."""
        yield


class PosixKeys(Keys):
    """A POSIX terminal in cbreak mode: Ctrl-C still interrupts."""

    def __init__(self, handle: int) -> None:
        import termios

        self._handle = handle
        self._before = termios.tcgetattr(handle)
        self._buffer = ""

    def start(self) -> None:
        """Single keys, no echo."""
        import termios
        import tty

        tty.setcbreak(self._handle, termios.TCSANOW)

    def restore(self) -> None:
        """The terminal as it was found. A terminal that is gone needs none of it."""
        import termios

        with contextlib.suppress(termios.error, OSError):
            termios.tcsetattr(self._handle, termios.TCSANOW, self._before)

    def read(self, timeout_s: float) -> str:
        """The next key, waiting up to `timeout_s`."""
        import select

        if not self._buffer and select.select([self._handle], [], [], timeout_s)[0]:
            self._buffer += self._read_some().decode(errors="replace")
        while self._buffer in ("\x1b", "\x1b[", "\x1bO"):
            if not select.select([self._handle], [], [], ESCAPE_S)[0]:
                break
            self._buffer += self._read_some().decode(errors="replace")
        return self._take()

    def _read_some(self) -> bytes:
        with contextlib.suppress(OSError):
            if data := os.read(self._handle, 64):
                return data
        raise Interrupted("the terminal went away")

    def drop(self) -> None:
        """Forget keys that were typed ahead."""
        import termios

        self._buffer = ""
        with contextlib.suppress(termios.error, OSError):
            termios.tcflush(self._handle, termios.TCIFLUSH)

    @contextlib.contextmanager
    def cooked(self) -> Iterator[None]:
        """Lines as usual while a question is asked."""
        self.restore()
        try:
            yield
        finally:
            self.start()

    def _take(self) -> str:
        if not self._buffer:
            return ""
        for escape, name in _ESCAPES.items():
            if self._buffer.startswith(escape):
                self._buffer = self._buffer[len(escape) :]
                return name
        key, self._buffer = self._buffer[0], self._buffer[1:]
        if key == "\x1b" and self._buffer[:1] in ("[", "O"):
            self._buffer = ""  # an escape sequence that means nothing here
            return "other"
        return _PLAIN.get(key, "other")


class WindowsKeys(Keys):
    """A Windows console. Never tried."""

    def read(self, timeout_s: float) -> str:
        """The next key, waiting up to `timeout_s`."""
        import time

        console: Any = __import__("msvcrt")
        deadline = time.monotonic() + timeout_s
        while not console.kbhit():
            if time.monotonic() >= deadline:
                return ""
            time.sleep(0.005)
        key = console.getwch()
        if key in ("\x00", "\xe0"):
            return _WINDOWS.get(console.getwch(), "other")
        return _PLAIN.get(key, "other")


@contextlib.contextmanager
def keys() -> Iterator[Keys | None]:
    """Keys of the terminal on stdin, or None when stdin is none."""
    if not sys.stdin.isatty():
        yield None
        return
    if os.name == "nt":
        yield WindowsKeys()
        return
    terminal = PosixKeys(sys.stdin.fileno())
    try:
        terminal.start()
        yield terminal
    finally:
        terminal.restore()
