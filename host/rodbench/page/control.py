"""Who controls: one page at a time, and every page sees which."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from rodbench.errors import HeldError, UsageError

WATCHER = "this page only watches"
HOW = "open the address that `rodbench page` printed, with its key"


@dataclass(frozen=True, slots=True)
class Page:
    """A page that is open: its name for people, and whether it came with the key."""

    label: str
    keyed: bool


class Control:
    """The one controlling page. `let_go` is called with the id of a page that has lost control,
    before another gets it: what it moves must be stopped then."""

    def __init__(self) -> None:
        self.let_go: Callable[[str], None] = lambda page_id: None
        self.version = 0
        self._pages: dict[str, Page] = {}
        self._holder = ""
        self._lock = threading.RLock()

    def arrive(self, page_id: str, label: str, keyed: bool) -> None:
        """A page was opened. With the key it controls at once where no other page does."""
        with self._lock:
            self._pages[page_id] = Page(label, keyed)
            if keyed and not self._holder:
                self._holder = page_id
            self.version += 1

    def leave(self, page_id: str) -> None:
        """A page is gone: what it moved stops, and control is free."""
        with self._lock:
            self._pages.pop(page_id, None)
        self.give(page_id)

    @property
    def holder(self) -> tuple[str, str]:
        """Id and name of the page that controls; empty where none does."""
        with self._lock:
            page = self._pages.get(self._holder)
            return (self._holder, page.label) if page else ("", "")

    @property
    def pages(self) -> dict[str, Page]:
        """All that are open."""
        with self._lock:
            return dict(self._pages)

    def keyed(self, page_id: str) -> bool:
        """Whether this page may take control."""
        with self._lock:
            page = self._pages.get(page_id)
            return page is not None and page.keyed

    def may(self, page_id: str) -> bool:
        """Whether this page controls."""
        with self._lock:
            return self._holder == page_id and self.keyed(page_id)

    def check(self, page_id: str) -> None:
        """Raises UsageError for a watcher, HeldError where another page controls."""
        if not self.keyed(page_id):
            raise UsageError(WATCHER, kept="nothing was asked of the board", hint=HOW)
        if not self.may(page_id):
            who = self.holder[1] or "no page"
            raise HeldError(
                f"{who} controls, this page does not",
                kept="nothing was asked of the board",
                hint="take control here first; what the other page moves is stopped then",
            )

    def take(self, page_id: str, label: str = "") -> None:
        """Take control, from whichever page has it: what that one moves is stopped first."""
        if not self.keyed(page_id):
            raise UsageError(WATCHER, kept="control stays where it is", hint=HOW)
        with self._lock:
            before = self._holder
            if before == page_id:
                return
            self._holder = ""  # nothing begins meanwhile
        if before:
            self.let_go(before)
        with self._lock:
            if label:
                self._pages[page_id] = Page(label, True)
            self._holder = page_id
            self.version += 1

    def give(self, page_id: str) -> None:
        """Give control back; what this page moves is stopped."""
        with self._lock:
            if self._holder == page_id:
                self._holder = ""  # first, so that nothing begins meanwhile
            self.version += 1
        self.let_go(page_id)
