"""The top of the page: the sentence, who controls, recording."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.parts import Answer, attempt, button, heading
from rodbench.page.look.sentence import Said, said

if TYPE_CHECKING:
    from rodbench.page.feed import Feed
    from rodbench.page.look.view import View


class Top:
    """Built once; `show` changes only what differs."""

    def __init__(self, view: View) -> None:
        self.view = view
        self._said: list[Said] = []
        self._clears: list[ui.button | None] = []
        with ui.element("header").classes("say"):
            for alarm in ("unheard-words", "unstopped-words"):
                ui.element("p").classes(f"alarm {alarm}").props("role=alert")
            self._sentences = ui.element("div").props("role=status aria-live=polite")
            self.answer = Answer()

    def row(self) -> None:
        """Name of the machine, who controls, recording; here."""
        view = self.view
        with ui.element("div").classes("top") as self._row:
            heading(view.feed.name, "h1")
            self._who = ui.label().classes("who")
            if view.feed.replay:
                return
            self._take = button("Take control").props("data-take")
            self._give = button("Give up control", self._given)
            self._record = button("", self._recorded)

    def show(self, feed: Feed) -> None:
        """The sentence and the rest, by the feed as it is now."""
        found = said(feed)
        if found != self._said:
            self._said = found
            self._sentences.clear()
            with self._sentences:
                self._clears = [self._sentence(one) for one in found]
        for clear in filter(None, self._clears):
            clear.visible = self.view.controls
        self._show_error()
        self._who.text = who_words(self.view)
        if not feed.replay:
            self._show_buttons(feed)

    def _show_error(self) -> None:
        errors, page_id = self.view.hands.errors, self.view.page_id
        if page_id not in errors:
            return
        if error := errors.pop(page_id):
            self.answer.error(error)
        else:
            self.answer.clear()

    def _sentence(self, one: Said) -> ui.button | None:
        """A sentence, with the button that it speaks of."""
        with ui.element("div").classes("one"):
            with ui.element("p").classes("grave" if one.grave else ""):
                ui.label(one.text)
            if one.clear is None or self.view.feed.replay:
                return None
            return button("Clear", partial(self._clear, one.clear), main=True)

    async def _clear(self, axis: int) -> None:
        view = self.view
        await attempt(self.answer, view.hands.clear, view.page_id, axis)

    def _show_buttons(self, feed: Feed) -> None:
        view = self.view
        quiet = view.controls and not feed.commander
        self._row.classes(add="quiet" if quiet else "", remove="" if quiet else "quiet")
        self._take.visible = view.acts and not view.controls
        self._take.text = "Take over control" if view.holder else "Take control"
        self._give.visible = view.controls
        self._record.visible = view.controls
        self._record.text = "End recording" if feed.recording else "Record"

    async def _given(self) -> None:
        await attempt(self.answer, self.view.control.give, self.view.page_id)

    async def _recorded(self) -> None:
        hands = self.view.hands
        ask = hands.record_stop if self.view.feed.recording else hands.record_start
        await attempt(self.answer, ask, self.view.page_id)


def who_words(view: View) -> str:
    """Who controls, in words."""
    feed = view.feed
    if feed.replay:
        return f"Replay of {feed.recording}: nothing here moves a rod."
    recording = f" Recording {feed.recording}." if feed.recording else ""
    if view.controls:
        text = "This page controls."
    elif view.holder:
        text = f"Another page controls: {view.holder}."
    elif view.acts:
        text = "No page controls."
    else:
        text = "Watching only. To control, open the address behind “control:” in the terminal."
    other = f" At present {feed.commander} commands the rods." if feed.commander else ""
    return text + other + recording
