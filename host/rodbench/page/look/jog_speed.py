"""How fast a held pad moves its rod: a few steps up to what the settings allow."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.parts import Answer, attempt, button
from rodbench.page.look.sentence import rod_name

if TYPE_CHECKING:
    from rodbench.page.look.view import View

STEPS = (0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0)  # of the most


class JogSpeed:
    """Beside the pads of a calibrated rod, while this page controls. It counts from the next press
    on; the board caps it, whatever is asked for."""

    def __init__(self, view: View, axis: int, answer: Answer) -> None:
        self.view, self.axis, self.answer = view, axis, answer
        name = rod_name(view.feed, axis)
        with ui.element("div").classes("jog-speed").props("role=group") as self._row:
            slower = button("Slower", partial(self._step, -1))
            with ui.element("div").classes("figure"):
                self._speed = ui.label().props("aria-live=polite")
                self._most = ui.label().classes("fine")
            faster = button("Faster", partial(self._step, 1))
        self._row._props["aria-label"] = f"Jog speed of {name}"
        slower._props["aria-label"] = f"Jog {name} slower"
        faster._props["aria-label"] = f"Jog {name} faster"

    def show(self) -> None:
        """As it is now; hidden where no pad does anything."""
        hands, units = self.view.hands, self.view.feed.units
        self._row.visible = self.view.controls and not self.view.feed.lost
        self._speed.text = f"Jog at {units.speed(hands.jog_speed_mm_s(self.axis))}"
        self._most.text = f"the board caps it at {units.speed(hands.jog_most_mm_s(self.axis))}"

    async def _step(self, way: int) -> None:
        hands = self.view.hands
        most, now = hands.jog_most_mm_s(self.axis), hands.jog_speed_mm_s(self.axis)
        speed_mm_s = most * next_step(now / most, way)
        await attempt(self.answer, hands.set_jog_speed, self.view.page_id, self.axis, speed_mm_s)
        self.show()


def next_step(share: float, way: int) -> float:
    """The step above a share of the most, or below it; at the last one that one."""
    if way > 0:
        return next((step for step in STEPS if step > share + 1e-3), STEPS[-1])
    return next((step for step in reversed(STEPS) if step < share - 1e-3), STEPS[0])
