"""The owner: holds one port and lets several commands use it.

It renews nothing by itself: a renewal is passed on only when the commanding client sends one, with
the tick that this client has seen.
"""

from __future__ import annotations

import contextlib
import os
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from rodbench_protocol.names import MessageId

from rodbench.errors import HeldError, LinkLost, PortError, RodbenchError, StopAsked, UsageError
from rodbench.link.client import Client
from rodbench.owner import lines, places
from rodbench.owner.connection import Connection

COMMAND_S = 1.0  # after so long without a renewal a commanding client gives way: its hold is over
RECONNECT_S = 0.5
NEWCOMER_S = 8.0  # an attempt to reconnect, with a board that boots slowly
STOP_HINT = "see why it was stopped; then ask again"
POLL_S = 0.05
MOTIONS = frozenset({"jog", "run", "seek", "move", "level"})
LAST_WORDS = frozenset({"draft_commit", "draft_discard", "store"})  # nothing is left to command
COMMANDING = MOTIONS | LAST_WORDS | {"draft_begin", "draft_set", "draft_check"}
Opener = Callable[[Callable[[str], None], Callable[[Client], None]], Client]


class Server:
    """`open_client` opens the port: it is called again after the port went away."""

    def __init__(
        self,
        port: str,
        open_client: Opener,
        *,
        idle_s: float = 10.0,
        eye: Callable[[dict[str, Any]], dict[str, Any]] | None = None,
    ) -> None:
        self.port = port
        self._open_client = open_client
        self._token = ""
        self._idle_s = idle_s
        self._eye = eye
        self._lock = threading.RLock()
        self._tried = threading.Condition(self._lock)  # told after each attempt to reconnect
        self._attempts = 0
        self._connections: list[Connection] = []
        self._commander: Connection | None = None
        self._periods = (0, 0)
        self._warnings: list[str] = []
        self._down: RodbenchError | None = None
        self._ending = threading.Event()
        self._idle_since = time.monotonic()
        self._client: Client | None = open_client(self._warn, self._opened)

    def run(self, listener: socket.socket, token: str = "") -> None:
        """Serve until idle for long enough, or told to end. Clients must show the token, if any."""
        self._token = token
        self._idle_since = time.monotonic()
        threading.Thread(target=self._accept, args=(listener,), daemon=True).start()
        try:
            while not self._ending.is_set() and not self._idle():
                self._turn()
        finally:
            self._ending.set()
            listener.close()
            self._stop_all()
            for connection in list(self._connections):
                connection.close()
            if self._client is not None:
                self._client.close()

    def end(self) -> None:
        """Stop the rods and end."""
        self._ending.set()

    # -- the port

    def _turn(self) -> None:
        client = self._client
        if client is None:
            self._reconnect()
            return
        try:
            payloads = client.poll_raw(POLL_S)
        except RodbenchError as error:
            self._lost(client, error)
            return
        if payloads:
            self._fan_out(payloads)

    def _fan_out(self, payloads: list[bytes]) -> None:
        line = lines.encode({"u": [p.hex() for p in payloads]})
        events = [p.hex() for p in payloads if p[0] == MessageId.EVENT]
        event_line = lines.encode({"u": events}) if events else None
        with self._lock:
            for connection in self._connections:
                if any(connection.periods):
                    connection.send_unasked(line, len(payloads))
                elif event_line and connection.greeted:
                    connection.send_unasked(event_line, len(events))

    def _lost(self, client: Client, error: RodbenchError) -> None:
        """The port is gone, or the board started anew: say so at once; nothing moves by itself."""
        self._broadcast({"lost": lines.error_to(error)})
        self._set_commander(None)
        if client.alive_line:
            with contextlib.suppress(RodbenchError):
                client.open_session()
                return
        client.close()
        with self._lock:
            self._client = None
            self._down = error

    def _reconnect(self) -> None:
        self._ending.wait(RECONNECT_S)
        if not self._connections:
            return
        client, down = None, None
        try:
            client = self._open_client(self._warn, self._opened)
            if any(self._periods):
                client.subscribe(*self._periods)
        except RodbenchError as error:
            down = error
        with self._tried:
            self._client, self._down = client, down
            self._attempts += 1
            self._tried.notify_all()

    def _wait_for_port(self) -> None:
        """A newcomer hears the port's present state, not that of the day it went away."""
        with self._tried:
            attempts = self._attempts
            self._tried.wait_for(
                lambda: self._client is not None or self._attempts > attempts, NEWCOMER_S
            )

    def _opened(self, client: Client) -> None:
        self._broadcast({"session": {"hello": client.hello_fields, "tick": client.newest_tick}})

    def _warn(self, text: str) -> None:
        with self._lock:
            self._warnings.append(text)
        self._broadcast({"warn": text})

    def _link(self) -> Client:
        if self._client is None:
            raise self._down or LinkLost(f"{self.port} is gone", hint="plug it in again")
        return self._client

    # -- clients

    def _accept(self, listener: socket.socket) -> None:
        while not self._ending.is_set():
            try:
                line, _ = listener.accept()
            except OSError:
                return
            connection = Connection(line, self._work, self._at_once)
            with self._lock:
                self._connections.append(connection)
            threading.Thread(target=connection.serve, args=(self._gone,), daemon=True).start()

    def _gone(self, connection: Connection) -> None:
        """A client went, however: stop what it commanded, ask for less telemetry."""
        with self._lock:
            self._connections.remove(connection)
            commanding = self._commander is connection
            if commanding:
                self._set_commander(None)
            self._idle_since = time.monotonic()
        if commanding:
            for axis in connection.axes:
                with contextlib.suppress(RodbenchError):
                    self._link().stop(axis, 1)
        with contextlib.suppress(RodbenchError):
            self._subscribe()

    def _idle(self) -> bool:
        """Whether nobody has come for long enough; from then on nobody is let in."""
        with self._lock:
            if not self._connections and time.monotonic() - self._idle_since >= self._idle_s:
                self._ending.set()
        return self._ending.is_set()

    def _broadcast(self, message: dict[str, Any]) -> None:
        with self._lock:
            for connection in self._connections:
                if connection.greeted:
                    connection.send(message)

    def _stop_all(self) -> None:
        if self._commander is not None and self._client is not None:
            with contextlib.suppress(RodbenchError):
                self._client.stop(0, 1)

    # -- what clients ask

    def _at_once(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        self._check_greeted(connection)
        if message["do"] == "stop":
            self._note_stop(connection)
            reply = self._link().stop(int(message["axis"]), int(message["category"]))
            return {"tick": reply.tick, "fields": reply.fields}
        with self._lock:
            if self._commander is not connection:
                return {}
            connection.commanded_s = time.monotonic()
        self._link().alive(int(message["tick"]))
        return {}

    def _work(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        do = message["do"]
        if do == "greet":
            return self._greet(connection, message)
        self._check_greeted(connection)
        handler: dict[str, Callable[[Connection, dict[str, Any]], dict[str, Any]]] = {
            "request": self._request,
            "hello": lambda c, m: {"fields": self._link().hello().fields},
            "restart": self._restart,
            "subscribe": self._take_subscription,
            "release": self._release,
            "statistics": lambda c, m: asdict(self._link().statistics()),
            "eye": self._ask_eye,
            "give_up": self._give_up,
        }
        if do not in handler:
            raise UsageError(f"the owner knows no {do!r}")
        return handler[do](connection, message)

    def _greet(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        if self._token and message.get("token") != self._token:
            raise PortError("wrong token: this owner belongs to another user")
        self._wait_for_port()
        client = self._link()
        connection.who = str(message.get("who"))[:60]
        connection.pid = int(message.get("pid", 0))
        with self._lock:
            if self._ending.is_set():
                connection.close()  # unanswered: the client starts another owner
            connection.greeted = True
            control = self._control()
        return {
            "version": places.version(),
            "pid": os.getpid(),
            "hello": client.hello_fields,
            "tick": client.newest_tick,
            "control": control,
            "warnings": list(self._warnings),
        }

    def _check_greeted(self, connection: Connection) -> None:
        if not connection.greeted:
            raise PortError("say who you are first")

    def _request(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        name, fields = str(message["name"]), dict(message["fields"])
        if name in COMMANDING:
            self._take_command(connection, name)
        if name in MOTIONS:
            self._begin_motion(connection, name, int(fields["axis"]))
        reply = self._link().request(name, **fields)
        if name in LAST_WORDS and not connection.axes:
            self._give_back(connection)
        return {"tick": reply.tick, "fields": reply.fields}

    def _note_stop(self, asker: Connection) -> None:
        """A stop ends what others are doing with the rod, not only the motion of this moment."""
        with self._lock:
            for connection in self._connections:
                if connection is not asker and connection.moves:
                    connection.stopped_by = str(asker)

    def _begin_motion(self, connection: Connection, name: str, axis: int) -> None:
        with self._lock:
            by, connection.stopped_by = connection.stopped_by, ""
            if not by:
                connection.moves = True
                connection.axes.add(axis)
                return
        self._give_back(connection)
        raise StopAsked(
            f"{name} was not begun: {by} asked for a stop", kept="nothing moves", hint=STOP_HINT
        )

    def _restart(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        self._take_command(connection, "restart")
        reply = self._link().restart()
        self._give_back(connection)
        return {"tick": reply.tick, "fields": reply.fields}

    def _take_command(self, connection: Connection, name: str) -> None:
        """One commanding client at a time; a silent one gives way."""
        now = time.monotonic()
        with self._lock:
            other = self._commander
            held = other is not None and now - other.commanded_s < COMMAND_S
            if held and other is not connection:
                raise HeldError(
                    f"{name}: {other} is commanding this board",
                    kept="it goes on undisturbed",
                    hint="wait until it ends, or `rodbench stop`",
                )
            self._set_commander(connection)
            connection.commanded_s = now

    def _set_commander(self, connection: Connection | None) -> None:
        """Everybody sees who commands, whoever it is."""
        with self._lock:
            if connection is not self._commander:
                self._commander = connection
                self._broadcast({"control": self._control()})

    def _control(self) -> dict[str, Any] | None:
        other = self._commander
        return None if other is None else {"who": other.who, "pid": other.pid}

    def _give_back(self, connection: Connection) -> None:
        with self._lock:
            if self._commander is connection:
                self._set_commander(None)
            connection.axes.clear()

    def _release(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        self._give_back(connection)
        with self._lock:
            by, connection.stopped_by = connection.stopped_by, ""
        return {"stopped_by": by}

    def _give_up(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        """End and let the port go for another program, unless somebody else uses it."""
        with self._lock:
            others = [str(c) for c in self._connections if c is not connection and c.greeted]
            if others:
                raise HeldError(
                    f"{self.port} is in use by {', '.join(others)}",
                    kept="it goes on undisturbed",
                    hint="end that command first",
                )
            self._ending.set()
        return {}

    def _take_subscription(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        connection.periods = (int(message["axis_ms"]), int(message["board_ms"]))
        self._subscribe()
        return {}

    def _subscribe(self) -> None:
        """The fastest that any client asks for."""
        with self._lock:
            asked = [c.periods for c in self._connections]
            wanted = (_fastest(a for a, _ in asked), _fastest(b for _, b in asked))
            if wanted == self._periods:
                return
            self._periods = wanted
        self._link().subscribe(*wanted)

    def _ask_eye(self, connection: Connection, message: dict[str, Any]) -> dict[str, Any]:
        if self._eye is None:
            return self._link().eye()
        return self._eye(dict(message["question"]))


def _fastest(periods: Any) -> int:
    return min((p for p in periods if p > 0), default=0)
