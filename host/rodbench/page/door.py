"""The socket beside each page over which a finger holds a rod: short, and apart from all pictures.

To the page, every 40 ms: `[tick, moving, what this page keeps alive]`. From the page, one object
each: begin (axis, way, seen), renew (seen), end, let go, take (control), stop. A page without the
key is heard for stop alone. When the socket goes, so does what the page moved.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Callable
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from rodbench.errors import RodbenchError
from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands
from rodbench.page.held import later

TICK_S = 0.04
LONGEST = 1000  # bytes of a message of a page


class Door:
    """The doors of one server."""

    def __init__(self, feed: Feed, hands: Hands, control: Control) -> None:
        self.feed = feed
        self.hands = hands
        self.control = control
        self._open: dict[str, Passage] = {}

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
            with contextlib.suppress(WebSocketDisconnect, RuntimeError):
                while True:
                    await passage.hear(await socket.receive_text())
        finally:
            sender.cancel()
            if self._open.get(page_id) is passage:
                del self._open[page_id]
                await asyncio.to_thread(self.control.leave, page_id)


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
        with contextlib.suppress(WebSocketDisconnect, RuntimeError, OSError):
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
                self._renew(int(message["seen"]))
            elif do == "end":
                self._later(hands.jog_end, self._page)
            elif do == "let go":
                self._later(hands.let_go, self._page)
            elif do == "take":
                self._later(self._door.control.take, self._page)
            elif do == "begin":
                axis, way, seen = (int(message[key]) for key in ("axis", "way", "seen"))
                self._later(hands.jog_begin, self._page, axis, way, seen)
        except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
            return

    def _renew(self, seen: int) -> None:
        if later(seen, self._sent):  # it cannot have seen what it was not sent
            self._door.hands.refused_renewals += 1
        else:
            self._door.hands.jog_renew(self._page, seen)

    async def _stop(self) -> None:
        try:
            await asyncio.to_thread(self._door.hands.stop)
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
            with contextlib.suppress(WebSocketDisconnect, RuntimeError, OSError):
                await self._say(said)

    async def _say(self, message: Any) -> None:
        await self._socket.send_text(json.dumps(message))
