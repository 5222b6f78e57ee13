"""What a person sees: `build` makes one page for one browser."""

from __future__ import annotations

from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands


def build(feed: Feed, hands: Hands, control: Control, page_id: str) -> None:
    """Fill the page that is being opened, and keep it up to date."""
    from nicegui import ui

    from rodbench.page.guard import KEYED
    from rodbench.page.look.page import Page
    from rodbench.page.look.view import View

    keyed = bool(ui.context.client.request.scope.get(KEYED))
    Page(View(feed, hands, control, page_id, keyed))
