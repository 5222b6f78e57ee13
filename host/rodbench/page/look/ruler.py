"""The ruler of one rod: what it is drawn by, and the element in the page."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from nicegui import ui

from rodbench.page.look.machine import pin_to_pin_mm
from rodbench.page.look.sentence import fitted_axes, rod_name
from rodbench.show.where import has_pot

if TYPE_CHECKING:
    from nicegui.events import GenericEventArguments

    from rodbench.page.feed import Feed

Draft = dict[str, float]  # "low" and "high": soft stops in mm


class Ruler(ui.element, component="ruler.js"):
    """A rod to scale, its soft stops as handles."""

    def __init__(self, feed: Feed, axis: int, controls: bool) -> None:
        super().__init__()
        self._props["axis"] = axis
        self._props["setup"] = setup(feed, axis, controls)

    def on_draft(self, took: Callable[[Draft], None]) -> None:
        """Call with the soft stops that a person dragged."""

        def dragged(event: GenericEventArguments) -> None:
            took({side: float(event.args[side]) for side in ("low", "high")})

        self.on("draft", dragged)

    def show_draft(self, draft: Draft | None) -> None:
        """Put the handles there; None: back on the soft stops in force."""
        self.run_method("setDraft", draft)

    def set_up(self, feed: Feed, axis: int, controls: bool) -> None:
        """What it is drawn by may have changed."""
        new = setup(feed, axis, controls)
        if new != self._props["setup"]:
            self._props["setup"] = new
            self.update()


def setup(feed: Feed, axis: int, controls: bool) -> dict[str, Any]:
    """What does not change from tick to tick. All rods are drawn to one scale."""
    tubes = pin_to_pin_mm(feed)
    strokes = [stroke_mm(feed, n) for n in fitted_axes(feed) if _known(feed, n)]
    return {
        "name": rod_name(feed, axis),
        "kind": "pot" if _known(feed, axis) else "",
        "stroke": stroke_mm(feed, axis),
        "longest": max(strokes, default=stroke_mm(feed, axis)),
        "tube": tubes.get(axis),
        "longestTube": max(tubes.values(), default=0.0),
        "unit": unit(feed),
        "controls": controls and _known(feed, axis),
    }


def unit(feed: Feed) -> dict[str, Any]:
    """Name, per mm and digits."""
    units = feed.units
    return {"name": units.name, "per": units.value(1.0), "digits": 3 if units.name == "in" else 1}


def stroke_mm(feed: Feed, axis: int) -> float:
    """The stroke by the settings in force."""
    return feed.scopes[axis]["stroke_um"] / 1000


def _known(feed: Feed, axis: int) -> bool:
    live = feed.scopes[axis]
    return has_pot(live) and bool(live["calibrated"])
