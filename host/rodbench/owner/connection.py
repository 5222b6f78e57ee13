"""One client of the owner: reads its lines, works its requests in order, lets stop and renewals
pass beside them, and never waits for a client that does not read."""

from __future__ import annotations

import contextlib
import queue
import socket
import threading
from collections import deque
from collections.abc import Callable
from typing import Any

from rodbench.errors import RodbenchError
from rodbench.link.api import Who
from rodbench.owner import lines

UNASKED_WAITING = 2000  # lines for a client that does not read; older telemetry is dropped first
Handler = Callable[["Connection", dict[str, Any]], dict[str, Any]]


class Connection:
    """`work` answers a request (it may take long), `at_once` a stop or a renewal."""

    def __init__(self, line: socket.socket, work: Handler, at_once: Handler) -> None:
        self.who = "a program"
        self.pid = 0
        self.greeted = False
        self.periods = (0, 0)
        self.axes: set[int] = set()  # on which it has commanded motion
        self.commanded_s = float("-inf")
        self.moves = False  # whether it has ever commanded motion
        self.stopped_by = ""  # who else asked for a stop, until this client has been told
        self.closed = threading.Event()
        self._line = line
        self._work = work
        self._at_once = at_once
        self._requests: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._replies: deque[bytes] = deque()
        self._unasked: deque[tuple[bytes, int]] = deque()
        self._dropped = 0  # frames of lines that were dropped, not told yet
        self._sendable = threading.Condition()

    def __str__(self) -> str:
        return str(Who(self.who, self.pid))

    def serve(self, ended: Callable[[Connection], None]) -> None:
        """Read until the client goes; runs in a thread of this connection."""
        for target in (self._send_loop, self._work_loop):
            threading.Thread(target=target, daemon=True).start()
        try:
            self._read_loop()
        finally:
            self.close()
            ended(self)

    def send(self, message: dict[str, Any]) -> None:
        """A message that must arrive."""
        with self._sendable:
            self._replies.append(lines.encode(message))
            self._sendable.notify()

    def send_unasked(self, line: bytes, frames: int) -> None:
        """A line of telemetry; the oldest waiting ones may be dropped, and the client is told."""
        with self._sendable:
            if len(self._unasked) == UNASKED_WAITING:
                self._dropped += self._unasked.popleft()[1]
            self._unasked.append((line, frames))
            self._sendable.notify()

    def close(self) -> None:
        """Drop the connection; safe to repeat."""
        self.closed.set()
        self._requests.put(None)
        with self._sendable:
            self._sendable.notify()
        with contextlib.suppress(OSError):
            self._line.shutdown(socket.SHUT_RDWR)

    def _read_loop(self) -> None:
        splitter = lines.Splitter()
        while not self.closed.is_set():
            try:
                data = self._line.recv(65536)
            except OSError:
                return
            if not data:
                return
            for line in splitter.feed(data):
                self._take(lines.decode(line))

    def _take(self, message: dict[str, Any]) -> None:
        do = message.get("do")
        if do in ("stop", "alive"):
            self._answer(self._at_once, message)
        elif do:
            self._requests.put(message)

    def _work_loop(self) -> None:
        while (message := self._requests.get()) is not None:
            self._answer(self._work, message)

    def _answer(self, handler: Handler, message: dict[str, Any]) -> None:
        try:
            reply = {"ok": handler(self, message)}
        except RodbenchError as error:
            reply = {"error": lines.error_to(error)}
        except (KeyError, TypeError, ValueError, OverflowError) as error:  # cannot be meant
            reply = {"error": {"class": "UsageError", "message": f"bad request: {error!r}"}}
        if "id" in message:
            self.send({"id": message["id"], **reply})

    def _next(self) -> bytes:
        """What goes out next. Dropped frames are told in their place, before later ones."""
        if self._replies:
            return self._replies.popleft()
        if self._dropped:
            dropped, self._dropped = self._dropped, 0
            return lines.encode({"dropped": dropped})
        return self._unasked.popleft()[0] if self._unasked else b""

    def _send_loop(self) -> None:
        while not self.closed.is_set():
            with self._sendable:
                while not (self._replies or self._unasked or self.closed.is_set()):
                    self._sendable.wait()
                data = self._next()
            try:
                self._line.sendall(data)
            except OSError:
                self.close()
        with contextlib.suppress(OSError):
            self._line.close()
