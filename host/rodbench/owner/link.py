"""The client side of an owner: the same calls as the link itself."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import sys
import time
from collections.abc import Callable
from typing import Any

from rodbench_protocol.names import Event

from rodbench.clock import Clock, WallClock
from rodbench.errors import LinkLost, NoAnswer, OutcomeUnknown, ProtocolMismatch, RodbenchError
from rodbench.link.api import LinkStatistics, Reply, Unasked, Who
from rodbench.link.heart import decode_unasked, newer_tick
from rodbench.owner import lines, places
from rodbench.owner.start import connect

REPLY_S = 12.0  # three tries, and a new session with a board that boots slowly
STOP_S = 1.0
CONNECTS = 3


class OwnerGone(LinkLost):
    """The owner process ended."""


class OwnerLink:
    """A link through the owner process. For one thread."""

    @classmethod
    def connect(
        cls,
        port: str,
        *,
        folder: str | None = None,
        warn: Callable[[str], None] | None = None,
        who: str | None = None,
    ) -> OwnerLink:
        """To the owner of `port`, which is started when there is none."""
        for _ in range(CONNECTS):
            line, token = connect(port, folder)
            with contextlib.suppress(OwnerGone):  # it was just ending: start another
                return cls(line, token, port, warn=warn, who=who)
        raise NoAnswer(f"the process that holds {port} ends as soon as it is asked")

    def __init__(
        self,
        line: socket.socket,
        token: str,
        port: str,
        *,
        warn: Callable[[str], None] | None = None,
        who: str | None = None,
    ) -> None:
        self._line = line
        self._port = port
        self._warn = warn or (lambda text: None)
        self._clock = WallClock()
        self._splitter = lines.Splitter()
        self._replies: dict[int, dict[str, Any]] = {}
        self._unasked: list[Unasked] = []
        self._lost: RodbenchError | None = None
        self._number = 0
        self._newest_tick = 0
        self._hello: dict[str, Any] = {}
        self._commander: Who | None = None
        self._dropped = 0
        try:
            self._greet(token, who or os.path.basename(sys.argv[0]) or "python")
        except BaseException:
            self.close()
            raise

    @property
    def clock(self) -> Clock:
        """Real time."""
        return self._clock

    @property
    def newest_tick(self) -> int:
        """Newest board tick that this process has seen."""
        return self._newest_tick

    @property
    def commander(self) -> Who | None:
        """Who commands the board, as the owner last said."""
        return self._commander

    @property
    def dropped(self) -> int:
        """Frames that the owner threw away because this program did not take them."""
        return self._dropped

    @property
    def hello_fields(self) -> dict[str, Any]:
        """Fields of the last hello."""
        return self._hello

    def hello(self) -> Reply:
        """Ask who is there."""
        fields = self._call("hello")["fields"]
        self._hello = fields
        return Reply("hello", fields["tick"], fields)

    def request(self, name: str, **fields: Any) -> Reply:
        """Ask once and only once; see Link.request."""
        return self._reply(name, self._call("request", name=name, fields=fields))

    def stop(self, axis: int = 0, category: int = 1) -> Reply:
        """Stop, whoever commands."""
        return self._reply("stop", self._call("stop", STOP_S, axis=axis, category=category))

    def alive(self, tick: int | None = None) -> None:
        """Renew, echoing `tick`, or the newest that this process has seen."""
        self._send({"do": "alive", "tick": self._newest_tick if tick is None else tick})

    def poll(self, timeout_s: float = 0.0) -> list[Unasked]:
        """What came unasked; waits up to `timeout_s` for the first."""
        until = time.monotonic() + timeout_s
        self._read(0.0)
        while not self._unasked and self._lost is None:
            left = until - time.monotonic()
            if left <= 0:
                break
            self._read(left)
        self._raise_lost()
        taken, self._unasked = self._unasked, []
        return taken

    def subscribe(self, axis_period_ms: int, board_period_ms: int) -> None:
        """Ask for telemetry; the fastest that any client asks for is in force."""
        self._call("subscribe", axis_ms=axis_period_ms, board_ms=board_period_ms)

    def restart(self) -> Reply:
        """Restart the board and wait for it."""
        return self._reply("hello", self._call("restart"))

    def release(self) -> str:
        """This command commands no motion any more. Returns who else asked for a stop."""
        return str(self._call("release")["stopped_by"])

    def eye(self, **question: Any) -> dict[str, Any]:
        """Ask the eye of the emulated plant that lives in the owner."""
        return self._call("eye", question=question)

    def statistics(self) -> LinkStatistics:
        """What the owner's link has seen."""
        return LinkStatistics(**self._call("statistics"))

    def give_up(self) -> None:
        """Let the owner end, and the port go. Raises HeldError when another command uses it."""
        with contextlib.suppress(OwnerGone):  # it may be quicker than its answer
            self._call("give_up")

    def close(self) -> None:
        """Leave the owner; it stops what this client still commands."""
        with contextlib.suppress(OSError):
            self._line.close()

    # -- lines

    def _greet(self, token: str, who: str) -> None:
        got = self._call("greet", token=token, who=who, pid=os.getpid())
        mine = places.version()
        if got["version"] != mine:
            raise ProtocolMismatch(
                f"the process that holds {self._port} is rodbench {got['version']}, this is {mine}",
                kept="nothing was asked of the board",
                hint=f"it ends by itself when idle for ten seconds, or end process {got['pid']}",
            )
        self._hello, self._newest_tick = got["hello"], got["tick"]
        self._commander = _who(got["control"])
        for text in got["warnings"]:
            self._warn(text)

    def _reply(self, name: str, got: dict[str, Any]) -> Reply:
        self._newest_tick = newer_tick(got["tick"], self._newest_tick)
        return Reply(name, got["tick"], got["fields"])

    def _call(self, do: str, timeout_s: float = REPLY_S, **fields: Any) -> dict[str, Any]:
        self._number += 1
        number = self._number
        self._send({"id": number, "do": do, **fields})
        until = time.monotonic() + timeout_s
        while number not in self._replies:
            left = until - time.monotonic()
            if left <= 0:
                raise OutcomeUnknown(
                    f"the process that holds {self._port} does not answer {do}",
                    kept="the board stops a motion by itself when nobody renews it",
                    hint="look at the rod; end that process if it hangs",
                )
            self._read(left)
        reply = self._replies.pop(number)
        if "error" in reply:
            raise lines.error_from(reply["error"])
        ok: dict[str, Any] = reply["ok"]
        return ok

    def _send(self, message: dict[str, Any]) -> None:
        try:
            # the newline ends a line that an interrupt may have cut off
            self._line.sendall(b"\n" + lines.encode(message))
        except OSError as error:
            raise self._owner_gone() from error

    def _read(self, timeout_s: float) -> None:
        """Take what has come, waiting up to `timeout_s` for the first."""
        try:
            while select.select([self._line], [], [], timeout_s)[0]:
                data = self._line.recv(1 << 16)
                if not data:
                    raise self._owner_gone()
                for line in self._splitter.feed(data):
                    self._take(lines.decode(line))
                timeout_s = 0.0
        except (OSError, ValueError) as error:  # ValueError: closed meanwhile
            raise self._owner_gone() from error

    def _take(self, message: dict[str, Any]) -> None:
        if "id" in message:
            self._replies[message["id"]] = message
        elif "u" in message:
            self._take_unasked([bytes.fromhex(p) for p in message["u"]])
        elif "session" in message:
            self._hello = message["session"]["hello"]
            self._newest_tick = message["session"]["tick"]
        elif "lost" in message:
            self._lost = lines.error_from(message["lost"])
        elif "control" in message:
            self._commander = _who(message["control"])
        elif "dropped" in message:
            self._dropped += message["dropped"]
        elif "warn" in message:
            self._warn(message["warn"])

    def _take_unasked(self, payloads: list[bytes]) -> None:
        new = decode_unasked(payloads)
        for message in new:
            if not isinstance(message, Event):  # which may be old
                self._newest_tick = newer_tick(message.tick, self._newest_tick)
        self._unasked += new

    def _raise_lost(self) -> None:
        if self._lost is not None:
            lost, self._lost = self._lost, None
            raise lost

    def _owner_gone(self) -> OwnerGone:
        return OwnerGone(
            f"the process that held {self._port} ended",
            kept="a motion under way is stopped by the board itself, within its hold and its ramp",
            hint="the next command starts it again; nothing moves by itself",
        )


def _who(control: dict[str, Any] | None) -> Who | None:
    return Who(control["who"], control["pid"]) if control else None
