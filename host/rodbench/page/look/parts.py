"""What the pieces of the page share: buttons, and how an error is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import run, ui

from rodbench.errors import RodbenchError


class Answer:
    """What was asked for and refused: what, what was left as it was, and what to try."""

    def __init__(self) -> None:
        self._place = ui.element("div").classes("answer").props("role=alert")

    def clear(self) -> None:
        """Nothing to say."""
        self._place.clear()

    def say(self, *lines: str | None) -> None:
        """Say these lines."""
        self._place.clear()
        with self._place:
            for line in filter(None, lines):
                ui.label(line)

    def error(self, error: RodbenchError) -> None:
        """Tell an error."""
        kept = f"Unchanged: {error.kept}" if error.kept else None
        self.say(error.message, kept, f"Try: {error.hint}" if error.hint else None)


async def attempt(answer: Answer, ask: Callable[..., Any], *arguments: Any) -> tuple[bool, Any]:
    """Ask away from the event loop. Gives whether it was done, and the result."""
    try:
        result = await run.io_bound(ask, *arguments)
    except RodbenchError as error:
        answer.error(error)
        return False, None
    answer.clear()
    return True, result


def button(text: str, pressed: Callable[[], Any] | None = None, *, main: bool = False) -> ui.button:
    """A plain button, at least 44 px."""
    made = ui.button(text, on_click=pressed, color=None).props("flat no-caps :ripple=false")
    return made.classes("b main" if main else "b")


def box(title: str) -> tuple[ui.dialog, ui.card]:
    """A dialog that neither Esc nor a click beside it closes: Esc stops the rods."""
    dialog = ui.dialog().props("persistent no-esc-dismiss no-shake transition-duration=0")
    dialog._props["aria-label"] = title
    with dialog, ui.card().classes("box") as card:
        heading(title, "h2")
    return dialog, card


def heading(text: str, tag: str) -> ui.element:
    """A heading with plain text; never taken for HTML."""
    with ui.element(tag) as made:
        ui.label(text)
    return made
