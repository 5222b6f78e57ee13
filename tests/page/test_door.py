"""Stop at the page's socket, without a server: nothing else can stand before it."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any, cast

from rodbench.page.door import Door, Passage
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands


class Slow:
    """Hands whose board does not answer."""

    def __init__(self) -> None:
        self.freed = threading.Event()
        self.stopped = threading.Event()
        self.errors: dict[str, Any] = {}

    def jog_begin(self, *_: object) -> None:
        self.freed.wait(10.0)

    def stop(self) -> None:
        self.stopped.set()


class Silent:
    """A socket to a page."""

    async def send_text(self, text: str) -> None:
        pass


def test_a_stop_passes_presses_that_wait_for_a_slow_board() -> None:
    hands = Slow()

    async def press_and_stop() -> bool:
        door = Door(Feed(), cast(Hands, hands), cast(Any, None))
        passage = Passage(door, cast(Any, Silent()), "page")
        for _ in range(100):
            await passage.hear('{"do": "begin", "axis": 1, "way": 1, "seen": 0}')
        await asyncio.sleep(0.1)
        try:
            await asyncio.wait_for(passage.hear('{"do": "stop"}'), 2.0)
        except TimeoutError:
            return False
        finally:
            hands.freed.set()
        return hands.stopped.is_set()

    with ThreadPoolExecutor(1) as other:  # the browser's library may have a loop in this thread
        assert other.submit(asyncio.run, press_and_stop()).result()
