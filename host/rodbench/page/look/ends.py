"""Where the rod stands becomes one of its ends, on a person's word; then a proposal."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from rodbench.page.look.parts import attempt, box, button
from rodbench.page.look.proposal import Proposal
from rodbench.page.look.sentence import rod_name

if TYPE_CHECKING:
    from rodbench.page.look.view import View

WORDS = (
    "Bring the rod to its end with the pads first, and let go in time: nothing seeks the end here. "
    "Then say which end it stands at. Only who looks at the rod can know."
)


class Ends:
    """The dialog."""

    def __init__(self, view: View, axis: int) -> None:
        self.view, self.axis = view, axis
        dialog, card = box(f"Endpoints of {rod_name(view.feed, axis)}")
        with card:
            ui.label(WORDS)
            self._taken = ui.label(f"It stands at raw {view.feed.last_axis[axis].raw} of its pot.")
            self._proposal = Proposal(view, dialog.close)
            with ui.element("div").classes("pair"):
                for which in ("retracted", "extended"):
                    button(f"It is fully {which}", partial(self._said, which))
                self._proposal.button()
                button("Leave as it is", dialog.close)
        dialog.open()

    async def _said(self, which: str) -> None:
        view, answer = self.view, self._proposal.answer
        self._proposal.withdraw()
        capture = view.hands.capture_endpoint
        done, taken = await attempt(answer, capture, view.page_id, self.axis, which)
        if done:
            self._taken.text = f"{taken.said.capitalize()}."
            await self._proposal.propose({n: dict(new) for n, new in taken.changes.items()})
