"""Where the live view is shown: drawn over in place, added line by line, or once at the end."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.show.live import View
from rodbench.show.live_bars import BLOCKS, PLAIN_BLOCKS
from rodbench.show.live_plain import Telling

if TYPE_CHECKING:
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

DRAW_S = 0.1  # ten times a second at most: what a slow line carries
MARGIN = 2  # columns left free at the right


class Screen:
    """A pipe or a file: the last view, at the end."""

    def __init__(self, view: View) -> None:
        self.view = view
        self._drawn_s = 0.0

    def draw(self, now: bool = False) -> None:
        """Show what has changed, when it is time again (or `now`)."""
        if now or time.monotonic() - self._drawn_s >= DRAW_S:
            self._drawn_s = time.monotonic()
            self._draw()

    def _draw(self) -> None:
        pass

    def close(self) -> None:
        """Nothing is drawn from here on; the last view stays to be read."""
        self.view.keys = []
        talk.lines(self.view.lines())


class Lines(Screen):
    """A terminal that cannot be drawn over."""

    def __init__(self, view: View) -> None:
        super().__init__(view)
        self._telling = Telling()

    def _draw(self) -> None:
        talk.lines(self._telling.new(self.view, time.monotonic()))

    def close(self) -> None:
        """All is told already."""


class Full(Screen):
    """A terminal, drawn over in place; its size is asked each time."""

    def __init__(self, view: View, console: Console, live: Live) -> None:
        super().__init__(view)
        self._console = console
        self._live = live

    def _draw(self) -> None:
        size = self._console.size
        lines = self.view.lines(size.width - MARGIN, size.height)
        self._live.update(self._text(lines), refresh=True)

    def _text(self, lines: list[str]) -> Text:
        from rich.text import Text

        text, style = Text(no_wrap=True, overflow="crop"), ""
        for number, line in enumerate(lines):
            style = "" if self._console.no_color else _style(line, style)
            text.append(line + "\n" * (number < len(lines) - 1), style)
        return text

    def close(self) -> None:
        """Back to what was on the terminal before, with the last view below it."""
        self._live.stop()
        super().close()


def _style(line: str, before: str) -> str:
    """Only stresses what its words say already."""
    if line.lstrip().startswith("! "):
        return "bold red"
    if line.startswith("    ") and before == "bold red":
        return before  # the sentence goes on
    return "bold" if line.startswith(("Axis ", "> ")) else ""


@contextlib.contextmanager
def opened(view: View) -> Iterator[Screen]:
    """The screen that stdout allows, closed at the end."""
    from rich.console import Console

    console = Console(highlight=False, markup=False)
    view.blocks = _blocks()
    if not console.is_terminal:
        screen: Screen = Screen(view)
    elif console.is_dumb_terminal:
        screen = Lines(view)
    else:
        screen = _full(view, console)
    try:
        yield screen
    finally:
        with talk.forgiving():
            screen.close()


def _full(view: View, console: Console) -> Full:
    from rich.live import Live

    live = Live(
        console=console, screen=True, auto_refresh=False,
        redirect_stdout=False, redirect_stderr=False,
    )  # fmt: skip
    live.start()
    return Full(view, console, live)


def _blocks() -> str:
    """Characters for the trace that this terminal can show."""
    with contextlib.suppress(UnicodeError, LookupError):
        BLOCKS.encode(sys.stdout.encoding or "ascii")
        if os.environ.get("TERM") != "linux":  # the bare console's font lacks most of them
            return BLOCKS
    return PLAIN_BLOCKS
