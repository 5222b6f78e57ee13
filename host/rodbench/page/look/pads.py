"""The jog pads: hold to run. What holding means is the business of hold.js and the hands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.sentence import rod_name

if TYPE_CHECKING:
    from rodbench.page.look.view import View

WAYS = {"retract": -1, "extend": 1}


class Pads:
    """The pads of a rod, or of two that are ganged; `show` follows what the page may do. One that
    is off looks so, but can be pressed: the hands then say why nothing moves."""

    def __init__(self, view: View, axis: int) -> None:
        self.view, self.axis = view, axis
        self._pads: list[ui.element] = []

    def make(self, way: str) -> None:
        """One pad, here."""
        sample = self.view.feed.last_axis[self.axis]
        name = "both rods" if sample.ganged else rod_name(self.view.feed, self.axis)
        pad = ui.element("button").classes(f"pad {way} of-{self.axis}").props("type=button")
        pad._props |= {
            "aria-label": f"{way.capitalize()} {name} while held",
            "data-jog-axis": self.axis,
            "data-jog-way": WAYS[way],
        }
        with pad:
            ui.label(way.capitalize())
            ui.label("both rods" if sample.ganged else "hold").classes("fine")
        self._pads.append(pad)

    def show(self) -> None:
        """Off unless this page controls, and no other program commands the rods now."""
        off = self._off()
        for pad in self._pads:
            pad.classes(add="off" if off else "", remove="" if off else "off")

    def _off(self) -> bool:
        feed = self.view.feed
        return not self.view.controls or bool(feed.lost or feed.commander)
