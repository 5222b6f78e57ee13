"""One rod: heading, pads, ruler, chart under it, and what can be asked of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.bench.guarded import not_guarded
from rodbench.page.look import figures
from rodbench.page.look.acts import Acts
from rodbench.page.look.charts import strokes_chart
from rodbench.page.look.jog_speed import JogSpeed
from rodbench.page.look.pads import Pads
from rodbench.page.look.parts import Answer
from rodbench.page.look.ruler import Draft, Ruler
from rodbench.page.look.sentence import rod_name
from rodbench.page.look.show_facts import Facts

if TYPE_CHECKING:
    from rodbench.page.look.view import View

NOW = ("state", "position", "speed", "current", "output")


class Rod:
    """The section of an axis."""

    def __init__(self, view: View, axis: int, answer: Answer) -> None:
        self.view, self.axis = view, axis
        still = not view.acts
        self._pads = Pads(view, axis)
        with ui.element("section").classes(f"rod rod-{axis}") as section:
            self._heading()
            with ui.element("div").classes("bench hands-off" if still else "bench"):
                if not still:
                    self._pads.make("retract")
                self._ruler = Ruler(view.feed, axis, view.controls)
                if not still:
                    self._pads.make("extend")
                self._speed = None
                if not still and view.feed.scopes[axis]["calibrated"]:
                    self._speed = JogSpeed(view, axis, answer)
                self._under()
            self._acts = None if still else Acts(view, axis, answer, self._ruler)
        section._props["aria-label"] = rod_name(view.feed, axis)
        if self._acts is not None:
            self._ruler.on_draft(self._acts.drafted)

    def show(self) -> None:
        """What changes slowly; the rest comes by the message."""
        feed = self.view.feed
        self._facts.show(figures.of_axis(feed, feed.last_axis[self.axis]))
        self._guarded.text = not_guarded(feed.scopes[0], feed.scopes[self.axis])
        self._pads.show()
        self._ruler.set_up(feed, self.axis, self.view.controls)
        if self._speed is not None:
            self._speed.show()
        if self._acts is not None:
            self._acts.show()

    def _heading(self) -> None:
        name = self.view.feed.rods.get(self.axis)
        with ui.element("div").classes("heading"):
            with ui.element("h2").classes("named"):
                ui.label(rod_name(self.view.feed, self.axis))
                if name:
                    ui.html(f"<small>axis {self.axis}</small>", sanitize=False)
            with ui.element("dl").classes(f"now now-{self.axis}"):
                for fact in NOW:
                    with ui.element("div").classes(fact):
                        with ui.element("dt"):
                            ui.label(fact)
                        ui.element("dd").classes(f"now-{fact}")

    def _under(self) -> None:
        with ui.element("div").classes("under"):
            with ui.element("dl").classes("facts") as facts:
                self._facts = Facts(facts)
                self._guarded = ui.label().classes("wide")
            if self.view.feed.scopes[self.axis]["calibrated"]:
                strokes_chart(self.axis, self.view.feed.units.name)


__all__ = ["Draft", "Rod"]
