"""Below the rods: the last 60 s, and what has happened."""

from __future__ import annotations

import time
from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.charts import trace_chart
from rodbench.page.look.parts import button
from rodbench.page.look.sentence import fitted_axes, rod_name
from rodbench.show.live_remarks import event_line

if TYPE_CHECKING:
    from rodbench.board import Event
    from rodbench.page.feed import Feed

EVENTS = 40  # of the newest
SPANS_S = (10, 30, 60)


class Traces:
    """Position and current over time; drawn only while it is open."""

    def __init__(self, feed: Feed) -> None:
        self._still = False
        title = "60 s up to here" if feed.replay else "Last 60 s"
        with ui.expansion(title).classes("drawer full-width").props("duration=0") as drawer:
            with ui.element("div").classes("acts"):
                self._pause = button("Pause", self._paused)
                for seconds in SPANS_S:
                    button(f"{seconds} s", partial(_run, f"zoom({seconds})"))
            for axis in fitted_axes(feed):
                if len(fitted_axes(feed)) > 1:
                    ui.label(rod_name(feed, axis))
                trace_chart(axis, rod_name(feed, axis), feed.units.name)
        drawer.on_value_change(lambda: _run("again()"))

    def _paused(self) -> None:
        self._still = not self._still
        self._pause.text = "Go on" if self._still else "Pause"
        _run(f"pause({'true' if self._still else 'false'})")


def _run(call: str) -> None:
    ui.run_javascript(f"rodbench.{call}")


class Events:
    """What the board and this program said, newest first."""

    def __init__(self) -> None:
        self._shown: list[tuple[float, Event | str]] | None = None
        with ui.expansion("Events").classes("drawer full-width").props("duration=0"):
            self._list = ui.element("ul").classes("events")

    def show(self, feed: Feed) -> None:
        """Anew when there is another."""
        all_of_it: list[tuple[float, Event | str]] = [*list(feed.events), *list(feed.notes)]
        newest = sorted(all_of_it, key=lambda one: -one[0])[:EVENTS]
        if newest == self._shown:
            return
        self._shown = newest
        self._list.clear()
        with self._list:
            for when, what in newest:
                text = what if isinstance(what, str) else _event_words(feed, what)
                _line(f"{time.strftime('%H:%M:%S', time.localtime(when))}  {text}")
            if not newest:
                _line("None yet.")


def _event_words(feed: Feed, event: Event) -> str:
    known = not event.axis or bool(feed.scopes[event.axis]["calibrated"])
    return event_line(event, feed.units, known)


def _line(text: str) -> None:
    with ui.element("li"):
        ui.label(text)
