"""One person's page: its feed, and what it may do."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands


@dataclass(frozen=True, slots=True)
class View:
    """What every part of a page is built from."""

    feed: Feed
    hands: Hands
    control: Control
    page_id: str
    keyed: bool  # it came with the key: it may take control

    @property
    def acts(self) -> bool:
        """Whether this page may ever have anything but the stop to act with."""
        return not self.feed.replay and self.keyed

    @property
    def controls(self) -> bool:
        """Whether this page is the one that controls."""
        return self.acts and self.control.may(self.page_id)

    @property
    def holder(self) -> str:
        """What the page that controls is called, "" for none."""
        return self.control.holder[1]
