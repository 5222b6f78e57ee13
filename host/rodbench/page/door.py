"""The socket beside each page over which a finger holds a rod: short, and apart from all pictures.

To the page, every 40 ms: `[tick, moving, what this page keeps alive]`. From the page, one object
each: begin (axis, way, seen), renew (seen), end, let go, take (control), stop. A page without the
key is heard for stop alone. When the socket goes, so does what the page moved.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Callable, Container
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from rodbench.errors import RodbenchError
from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands
from rodbench.page.held import later

TICK_S = 0.04
LONGEST = 1000  # bytes of a message of a page
TICKS = range(1 << 32)
AXES = range(1, 256)
WAYS = (1, -1)
STOPS_AT_ONCE = 4
GONE = (WebSocketDisconnect, RuntimeError, OSError)


class Door:
    """The doors of one server."""

    def __init__(self, feed: Feed, hands: Hands, control: Control) -> None:
        self.feed = feed
        self.hands = hands
        self.control = control
        self._open: dict[str, Passage] = {}
        # of its own: what waits for a slow board must not stand before a stop
        self._stops = ThreadPoolExecutor(STOPS_AT_ONCE, "stop")

    async def stop(self) -> None:
        """Stop all. Raises what the link raises."""
        await asyncio.get_running_loop().run_in_executor(self._stops, self.hands.stop)

    async def serve(self, socket: WebSocket, page_id: str, label: str, keyed: bool) -> None:
        """One page, until it goes."""
        if page_id in self._open and not keyed:
            await socket.close(1008)
            return
        await socket.accept()
        passage = self._open[page_id] = Passage(self, socket, page_id)
        await asyncio.to_thread(self.hands.let_go, page_id)  # of a socket before it
        self.control.arrive(page_id, label, keyed)
        sender = asyncio.create_task(passage.send_ticks())
        try:
            with contextlib.suppress(*GONE, KeyError):  # KeyError: bytes, which no page sends
                while True:
                    await passage.hear(await socket.receive_text())
        finally:
            sender.cancel()
            if self._open.get(page_id) is passage:
                del self._open[page_id]
                await asyncio.to_thread(self.control.leave, page_id)
                self.hands.errors.pop(page_id, None)


class Passage:
    """One page's socket."""

    def __init__(self, door: Door, socket: WebSocket, page_id: str) -> None:
        self._door = door
        self._socket = socket
        self._page = page_id
        self._sent = 0  # the newest tick that this page was sent
        self._begins: set[asyncio.Task[None]] = set()

    async def send_ticks(self) -> None:
        """What the page echoes, for as long as it takes it."""
        feed, hands = self._door.feed, self._door.hands
        with contextlib.suppress(*GONE):
            while True:
                tick = feed.tick
                await self._say([tick, feed.moving, hands.holds(self._page)])
                self._sent = tick
                await asyncio.sleep(TICK_S)

    async def hear(self, text: str) -> None:
        """A message of the page; what cannot be meant is not answered."""
        try:
            message = json.loads(text) if len(text) <= LONGEST else {}
            do = message["do"]
            hands = self._door.hands
            if do == "stop":
                await self._stop()
            elif do == "renew":
                self._renew(_whole(message["seen"], TICKS))
            elif do == "end":
                self._later(hands.jog_end, self._page)
            elif do == "let go":
                self._later(hands.let_go, self._page)
            elif do == "take":
                self._later(self._door.control.take, self._page)
            elif do == "begin":
                axis, seen = _whole(message["axis"], AXES), _whole(message["seen"], TICKS)
                self._later(hands.jog_begin, self._page, axis, _whole(message["way"], WAYS), seen)
        except (ValueError, KeyError, TypeError, RecursionError):
            return

    def _renew(self, seen: int) -> None:
        if later(seen, self._sent):  # it cannot have seen what it was not sent
            self._door.hands.refused_renewals += 1
        else:
            self._door.hands.jog_renew(self._page, seen)

    async def _stop(self) -> None:
        try:
            await self._door.stop()
            await self._say({"stop": "sent"})
        except RodbenchError as error:
            await self._say({"stop": "failed", "why": error.message})

    def _later(self, what: Callable[..., None], *words: Any) -> None:
        task = asyncio.create_task(self._work(what, *words))
        self._begins.add(task)
        task.add_done_callback(self._begins.discard)

    async def _work(self, what: Callable[..., None], *words: Any) -> None:
        try:
            await asyncio.to_thread(what, *words)
        except RodbenchError as error:
            self._door.hands.errors[self._page] = error
            said = {"refused": error.message, "hint": error.hint, "kept": error.kept}
            with contextlib.suppress(*GONE):
                await self._say(said)

    async def _say(self, message: Any) -> None:
        await self._socket.send_text(json.dumps(message))


def _whole(value: Any, known: Container[int]) -> int:
    """A whole number among those that can be meant. Raises ValueError."""
    if type(value) is not int or value not in known:
        raise ValueError(f"{value!r} cannot be meant")
    return value
