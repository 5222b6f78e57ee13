"""Changes of settings in a dialog: checked, shown as a difference in words, then put in force."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.parts import Answer, attempt, button

if TYPE_CHECKING:
    from rodbench.page.feed import Feed
    from rodbench.page.look.view import View
    from rodbench.settings.transfer import Difference

Changes = dict[int, dict[str, int]]  # wire integers by scope and setting


@dataclass(frozen=True, slots=True)
class Field:
    """A setting in thousandths of mm, with the words and the unit it is asked by."""

    wire: str
    words: str
    per: str = ""


FIELDS = (
    Field("soft_stop_min_um", "Soft stop, retract side"),
    Field("soft_stop_max_um", "Soft stop, extend side"),
    Field("speed_max_um_s", "Greatest speed", "/s"),
    Field("acceleration_um_s2", "Ramp up", "/s2"),
    Field("deceleration_um_s2", "Ramp down", "/s2"),
)

# On a small screen what was found stands below the fold.
TO_THE_END = "setTimeout(() => document.querySelector('.q-dialog .box')?.scrollTo(0, 1e6), 100)"


class Proposal:
    """The part of a dialog below its questions; `done` is called once it is in force."""

    def __init__(self, view: View, done: Callable[[], object]) -> None:
        self.view, self._done = view, done
        self._changes: Changes = {}
        self.answer = Answer()
        self._shown = ui.element("div")

    def button(self) -> None:
        """What puts it in force; hidden until all of it was checked and shown."""
        self._commit_button = button("Put in force and store", self._commit, main=True)
        self._commit_button.visible = False

    def withdraw(self) -> None:
        """What was checked is no longer what is meant."""
        self._changes = {}
        self._commit_button.visible = False
        self._shown.clear()

    async def propose(self, changes: Changes) -> None:
        """Have it checked, and show what stands against it, or all that it would change."""
        self.withdraw()
        done, found = await attempt(self.answer, self._checked, changes)
        ui.run_javascript(TO_THE_END)
        if not done:
            return
        problems, differences = found
        if problems:
            kept = f"the board keeps settings {self.view.feed.digest:08X}."
            self.answer.say(*problems, f"Nothing was sent; {kept}")
            return
        self._changes = changes
        self._commit_button.visible = bool(differences)
        self._show(differences)

    def _checked(self, changes: Changes) -> tuple[list[str], list[Difference]]:
        hands, page_id = self.view.hands, self.view.page_id
        problems = hands.check(page_id, changes)
        return problems, [] if problems else hands.diff(page_id, changes)

    def _show(self, differences: list[Difference]) -> None:
        with self._shown:
            if not differences:
                ui.label("Nothing differs from what is in force.")
                return
            ui.label("The board agrees. This would change:")
            with ui.element("ul"):
                for difference in differences:
                    with ui.element("li"):
                        ui.label(difference_words(self.view.feed, difference))

    async def _commit(self) -> None:
        view = self.view
        done, _ = await attempt(self.answer, view.hands.commit, view.page_id, self._changes, True)
        if done:
            self._done()


def difference_words(feed: Feed, difference: Difference) -> str:
    """`Soft stop, extend side: 188.0 mm becomes 180.0 mm`; a file's own names for the rest."""
    units = feed.units
    for field in FIELDS:
        if field.wire == difference.wire:
            was, becomes = (
                units.length(um / 1000) + field.per
                for um in (difference.on_board, difference.in_file)
            )
            return f"{field.words}: {was} becomes {becomes}"
    was, becomes = difference.shown(difference.on_board), difference.shown(difference.in_file)
    return f"{difference.name}: {was} becomes {becomes}"
