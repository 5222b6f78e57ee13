"""Ctrl-C, SIGTERM and a closed terminal all become one exception, so that the rod stops first."""

from __future__ import annotations

import signal
from types import FrameType

from rodbench.errors import Interrupted

_PATIENCE = 3  # so many further signals are taken as impatience while the rod is being stopped
_seen = 0


def catch_signals() -> None:
    """From now on the first signal raises Interrupted in the main thread; the next few are
    ignored, since they would cut off the stopping; then the system's own way is restored."""
    global _seen
    _seen = 0
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, _interrupt)


def _interrupt(number: int, frame: FrameType | None) -> None:
    global _seen
    _seen += 1
    if _seen == 1:
        raise Interrupted(f"interrupted ({signal.Signals(number).name})")
    if _seen > _PATIENCE:
        signal.signal(number, signal.SIG_DFL)
