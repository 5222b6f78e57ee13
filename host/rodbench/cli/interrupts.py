"""Ctrl-C, SIGTERM and a closed terminal all become one exception, so that the rod stops first."""

from __future__ import annotations

import signal
from types import FrameType
from typing import Any

from rodbench.errors import Interrupted

_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
_PATIENCE = 3  # so many further signals are taken as impatience while the rod is being stopped
_seen = 0


def catch_signals() -> None:
    """From now on the first signal raises Interrupted in the main thread; the next few are
    ignored, since they would cut off the stopping; then the system's own way is restored."""
    global _seen
    _seen = 0
    _set(_interrupt)


def ignore_signals() -> None:
    """From now on all is done: a late signal must not change the exit code."""
    _set(signal.SIG_IGN)


def _set(handler: Any) -> None:
    for name in _SIGNALS:
        number = getattr(signal, name, None)  # Windows has no SIGHUP
        if number is not None:
            signal.signal(number, handler)


def _interrupt(number: int, frame: FrameType | None) -> None:
    global _seen
    _seen += 1
    if _seen == 1:
        raise Interrupted(f"interrupted ({signal.Signals(number).name})")
    if _seen > _PATIENCE:
        signal.signal(number, signal.SIG_DFL)
