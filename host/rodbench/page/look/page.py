"""The page of one person: everything on it, and what keeps it up to date."""

from __future__ import annotations

import json
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import ui

from rodbench.page.look.drawers import Events, Traces
from rodbench.page.look.figures import of_board
from rodbench.page.look.parts import button
from rodbench.page.look.replay import Slider
from rodbench.page.look.rod import Rod
from rodbench.page.look.say import Top
from rodbench.page.look.send import Sender
from rodbench.page.look.sentence import fitted_axes, rod_name
from rodbench.page.look.show_facts import Facts
from rodbench.page.look.view import View
from rodbench.page.replay import ReplayFeed

if TYPE_CHECKING:
    pass

TURN_S = 0.1
SLOW_TURNS = 10  # an unchanged feed is sent so seldom: the page then knows that it is heard
HERE = Path(__file__).parent


class Page:
    """Built once for each browser tab."""

    def __init__(self, view: View) -> None:
        self.view, self.sender, self._turn, self._version = view, Sender(), 0, (-1, -1)
        ui.add_head_html(_head())
        with ui.element("div").classes("sheet") as self.sheet:
            self.top = Top(view)
            self.main = ui.element("main")
            self.chooser = ui.element("div").classes("chooser")
        if not view.feed.replay:
            _stop_bar()
        self._shape: Any = None
        self.turn()
        ui.timer(TURN_S, self.turn)

    def turn(self) -> None:
        """Ten times a second: one message, and the words that changed."""
        feed = self.view.feed
        self._turn += 1
        version = (feed.version, self.view.control.version)
        if version == self._version and self._turn % SLOW_TURNS:
            return
        if not feed.last_axis and self._shape is not None:
            return  # a replay that is sought anew: as it was until it is there
        self._version = version
        if (shape := _shape(self.view)) != self._shape:
            self._shape = shape
            self._fill()
        self._show()
        message = json.dumps(self.sender.message(feed), separators=(",", ":"), allow_nan=False)
        ui.run_javascript(f"rodbench.take({message})")

    def _show(self) -> None:
        feed = self.view.feed
        self.top.show(feed)
        for rod in self.rods:
            rod.show()
        self.facts.show(of_board(feed))
        self.events.show(feed)
        if self.slider is not None:
            self.slider.show()

    def _fill(self) -> None:
        """Rods, drawers and pads, anew when the rods themselves are others."""
        view, feed = self.view, self.view.feed
        self.main.clear()
        self.sender.forget()
        with self.main:
            self.top.row()
            self.slider = Slider(feed) if isinstance(feed, ReplayFeed) else None
            self.rods = [Rod(view, axis, self.top.answer) for axis in fitted_axes(feed)]
            with ui.element("dl").classes("board") as board:
                self.facts = Facts(board, row="div")
            if self.rods:
                Traces(feed)
            self.events = Events()
        self.sheet.classes(remove="acts-here", add="acts-here" if view.acts and self.rods else "")
        self._choose(min(fitted_axes(feed), default=0))

    def _chosen(self, axis: int) -> None:
        """By a person, who must see what the pads now move."""
        self._choose(axis)
        ui.run_javascript(f"document.querySelector('.rod-{axis}')?.scrollIntoView()")

    def _choose(self, axis: int) -> None:
        """On a small screen the pads stand at the bottom, for one rod at a time."""
        feed = self.view.feed
        axes = fitted_axes(feed)
        self.chooser.clear()
        self.sheet.classes(remove="choice chosen-1 chosen-2", add=f"chosen-{axis}")
        if len(axes) < 2 or not self.view.acts or feed.last_axis[axis].ganged:
            return
        self.sheet.classes(add="choice")
        with self.chooser:
            for one in axes:
                made = button(rod_name(feed, one), partial(self._chosen, one))
                made.classes("on" if one == axis else "")
                made._props["aria-pressed"] = "true" if one == axis else "false"


def _stop_bar() -> None:
    bar = ui.element("button").classes("stop").props("type=button data-stop")
    bar._props["aria-label"] = "Stop all rods"
    with bar:
        ui.label("STOP")
        ui.label("Space or Esc").classes("fine")


def _shape(view: View) -> Any:
    """What the parts of the page are made by."""
    feed = view.feed
    live = {axis: feed.scopes[axis] for axis in fitted_axes(feed)}
    rods = [(n, feed.rods.get(n), live[n]["feedback"], live[n]["calibrated"]) for n in live]
    ganged = [feed.last_axis[axis].ganged for axis in live]
    return view.acts, rods, feed.units, list(feed.positions), ganged


@cache
def _head() -> str:
    style, script = (HERE / name for name in ("look.css", "look.js"))
    return f"<style>{style.read_text()}</style><script>{script.read_text()}</script>"
