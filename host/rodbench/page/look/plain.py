"""Text and buttons alone."""

from __future__ import annotations

from nicegui import ui

from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands
from rodbench.show.words import state


class Plain:
    """The elements of one page, and their update."""

    def __init__(self, feed: Feed, hands: Hands, control: Control, page_id: str) -> None:
        self._feed, self._hands, self._control, self._page = feed, hands, control, page_id
        self._shown = (-1, -1)
        ui.button("Stop").props("data-stop").classes("fixed")
        self._who = ui.label()
        ui.button("Take control").props("data-take")
        self._lines: dict[int, ui.label] = {}
        for axis in sorted(n for n in feed.scopes if n and feed.scopes[n]["feedback"]):
            self._lines[axis] = ui.label()
            ui.button(f"Axis {axis}: retract").props(f'data-jog-axis="{axis}" data-jog-way="-1"')
            ui.button(f"Axis {axis}: extend").props(f'data-jog-axis="{axis}" data-jog-way="1"')

    def update(self) -> None:
        """Draw what has changed."""
        shown = (self._feed.version, self._control.version)
        if shown == self._shown:
            return
        self._shown = shown
        holder = "this page" if self._control.may(self._page) else self._control.holder[1]
        self._who.set_text(f"controls: {self._feed.commander or holder or 'nobody'}")
        for axis, label in self._lines.items():
            if sample := self._feed.last_axis.get(axis):
                position = sample.position_mm
                where = "" if position is None else self._feed.units.length(position)
                label.set_text(f"axis {axis}: {state(sample.state)} {where}")
