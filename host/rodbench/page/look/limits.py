"""Soft stops and ramps: typed, or dragged on the ruler; then a proposal."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.errors import UsageError
from rodbench.page.look.parts import box, button
from rodbench.page.look.proposal import FIELDS, Changes, Field, Proposal
from rodbench.page.look.sentence import rod_name

if TYPE_CHECKING:
    from rodbench.page.feed import Feed
    from rodbench.page.look.ruler import Draft
    from rodbench.page.look.view import View


class Limits:
    """The dialog. `draft` are soft stops dragged on the ruler; `closed` is called after."""

    def __init__(
        self, view: View, axis: int, draft: Draft | None, closed: Callable[[], None]
    ) -> None:
        self.view, self.axis, self.closed = view, axis, closed
        self.dialog, card = box(f"Soft stops and ramps of {rod_name(view.feed, axis)}")
        with card:
            with ui.element("div").classes("pair"):
                self._inputs = {field: self._input(field) for field in FIELDS}
            self._proposal = Proposal(view, self._close)
            with ui.element("div").classes("pair"):
                button("Check", self._check)
                self._proposal.button()
                button("Leave as it is", self._close)
        for side, field in zip(("low", "high"), FIELDS, strict=False):
            if draft is not None:
                self._inputs[field].value = view.feed.units.number(draft[side])
        for made in self._inputs.values():
            made.on_value_change(self._proposal.withdraw)
        self.dialog.open()

    def _input(self, field: Field) -> ui.input:
        label = f"{field.words}, {self.view.feed.units.name}{field.per}"
        made = ui.input(label, value=self._live(field))
        return made.props("outlined hide-bottom-space inputmode=decimal")

    def _live(self, field: Field) -> str:
        """What is in force, as it is shown."""
        feed = self.view.feed
        return feed.units.number(feed.scopes[self.axis][field.wire] / 1000)

    async def _check(self) -> None:
        try:
            changes = self._changes()
        except UsageError as error:
            self._proposal.answer.error(error)
            return
        await self._proposal.propose(changes)

    def _changes(self) -> Changes:
        """What was typed and is not what is in force, as far as that is shown."""
        typed = {field: made.value or "" for field, made in self._inputs.items()}
        new = {f: text for f, text in typed.items() if text.strip() != self._live(f)}
        return {self.axis: {f.wire: _wire(self.view.feed, f, text) for f, text in new.items()}}

    def _close(self) -> None:
        self.dialog.close()
        self.closed()


def _wire(feed: Feed, field: Field, text: str) -> int:
    """Wire integer of what was typed. Raises UsageError for what is no number."""
    try:
        return round(1000 * feed.units.to_mm(float(text)))
    except (ValueError, OverflowError):
        raise UsageError(
            f"{field.words}: '{text}' is no number",
            kept="nothing was sent",
            hint="write it as 3.5",
        ) from None
