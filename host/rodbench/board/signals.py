"""Termination signals as exceptions while a rod may move, and held back while it is stopped."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType
from typing import Any

from rodbench.errors import Interrupted

_NAMES = ("SIGTERM", "SIGHUP")  # Ctrl-C is KeyboardInterrupt already; Windows has no SIGHUP


def _numbers(*names: str) -> list[signal.Signals]:
    return [getattr(signal, n) for n in names if hasattr(signal, n)]


def _main_thread() -> bool:
    return threading.current_thread() is threading.main_thread()


def _raise(number: int, frame: FrameType | None) -> None:
    raise Interrupted(f"ended by {signal.Signals(number).name}", kept="the rod was stopped first")


class Raising:
    """While at least one holder holds it, SIGTERM and SIGHUP raise Interrupted in the main thread.

    A program's own handlers are left alone; only the default action is replaced.
    """

    def __init__(self) -> None:
        self._holders = 0
        self._replaced: list[signal.Signals] = []

    def hold(self) -> None:
        """One more holder."""
        self._holders += 1
        if self._holders == 1 and _main_thread():
            for number in _numbers(*_NAMES):
                if signal.getsignal(number) is signal.SIG_DFL:
                    signal.signal(number, _raise)
                    self._replaced.append(number)

    def release(self) -> None:
        """One holder less; the last one gives the default action back."""
        self._holders = max(0, self._holders - 1)
        if not self._holders and _main_thread():
            for number in self._replaced:
                signal.signal(number, signal.SIG_DFL)
            self._replaced.clear()


raising = Raising()


@contextlib.contextmanager
def held_back() -> Iterator[None]:
    """Signals do not interrupt what is inside. For stopping a rod with an error on its way up."""
    if not _main_thread():
        yield
        return
    kept: dict[signal.Signals, Any] = {}
    for number in _numbers("SIGINT", *_NAMES):
        kept[number] = signal.signal(number, signal.SIG_IGN)
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)
