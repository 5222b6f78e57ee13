"""What a page looks like: `build` makes one page for one browser."""

from __future__ import annotations

from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands


def build(feed: Feed, hands: Hands, control: Control, page_id: str) -> None:
    """A plain page: state as text, stop, and a pad for each way of each rod."""
    from nicegui import ui

    from rodbench.page.look.plain import Plain

    plain = Plain(feed, hands, control, page_id)
    ui.timer(0.1, plain.update)
