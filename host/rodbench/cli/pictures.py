"""Pictures that come behind a procedure: what it found is not lost for one that cannot be made."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rodbench.cli import talk


@contextmanager
def if_it_can_be() -> Iterator[None]:
    """Draws inside; a place that cannot be written, or a kind of file unknown, is only said."""
    try:
        yield
    except (OSError, ValueError) as error:
        talk.say(f"! no picture: {error}")
