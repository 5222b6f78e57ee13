"""What can be asked of a rod: move, presets, clear, limits, endpoints."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.ends import Ends
from rodbench.page.look.limits import Limits
from rodbench.page.look.machine import place
from rodbench.page.look.parts import Answer, attempt, button
from rodbench.page.look.ruler import Draft, Ruler
from rodbench.page.look.sentence import rod_name
from rodbench.show.where import has_pot

if TYPE_CHECKING:
    from rodbench.page.look.view import View


class Acts:
    """The row of controls under a rod; off unless this page controls."""

    def __init__(self, view: View, axis: int, answer: Answer, ruler: Ruler) -> None:
        self.view, self.axis, self.answer, self.ruler = view, axis, answer, ruler
        self._draft: Draft | None = None
        live = view.feed.scopes[axis]
        with ui.element("div").classes("acts") as self._row:
            if live["calibrated"]:
                self._moves()
            if live["calibrated"]:
                button("Soft stops and ramps", self._edit)
            if has_pot(live):
                button("Endpoints", self._ends)
        self._off: bool | None = None

    def show(self) -> None:
        """On or off, by who controls."""
        off = not self.view.controls or bool(self.view.feed.lost)
        if off == self._off:
            return
        self._off = off
        for child in self._row.default_slot.children:
            child.props("disable") if off else child.props(remove="disable")

    def drafted(self, draft: Draft) -> None:
        """Soft stops were dragged: a draft, to be checked and committed."""
        self._draft = draft
        self._edit()

    def _moves(self) -> None:
        feed = self.view.feed
        label = f"Move {rod_name(feed, self.axis)} to, {feed.units.name}"
        self._to = ui.input(label).props("outlined hide-bottom-space")
        self._to.on("keydown.enter", self._typed)
        button("Move", self._typed, main=True)
        for name in feed.positions:
            button(name, partial(self._move, name))

    async def _typed(self) -> None:
        await self._move(self._to.value or "")

    async def _move(self, text: str) -> None:
        if self.view.controls:
            await attempt(self.answer, self._go, text)

    def _go(self, text: str) -> None:
        """Raises what the place or the hands refuse it by."""
        view = self.view
        target = place(view.feed, self.axis, text)
        with target.refused():
            view.hands.move(view.page_id, self.axis, target.mm)

    def _edit(self) -> None:
        draft, self._draft = self._draft, None
        Limits(self.view, self.axis, draft, lambda: self.ruler.show_draft(None))

    def _ends(self) -> None:
        Ends(self.view, self.axis)
