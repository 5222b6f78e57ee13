"""A board of a few lines, from SPEC.md sections 4 and 5: sessions, sequence, remembered reply.

For what the emulator cannot do: other protocol versions, silence, noise, a slow boot, lost bytes at
will. `carried_out` lists every request that it has carried out, once each.
"""

from __future__ import annotations

import os
import threading
import time
import tty

from rodbench.errors import LinkLost
from rodbench_protocol import framing, messages
from rodbench_protocol.errors import FrameError
from rodbench_protocol.names import MAJOR, MINOR, SCHEMA_DIGEST, Ended, Status
from rodbench_protocol.schema import load_schema

OUTSIDE = ("hello", "stop")


class FakeBoard:
    def __init__(self, *, major: int = MAJOR, minor: int = MINOR, digest: int = SCHEMA_DIGEST):
        self.version = (major, minor, digest)
        self.nonce = 0x1234
        self.tick = 1000
        self.session = 0
        self.last: tuple[int, bytes] | None = None
        self.remembered = b""
        self.carried_out: list[tuple[str, dict]] = []
        self.renewals: list[int] = []
        self.motion = 0
        self.counter = 0
        self.deaf = False
        self._splitter = framing.Splitter()

    def restart(self) -> None:
        self.nonce += 1
        self.session, self.last, self.tick = 0, None, 10

    def take(self, data: bytes) -> bytes:
        """Bytes from the host; returns bytes to the host."""
        out = b""
        for frame in self._splitter.feed(data):
            try:
                payload = framing.decode(frame)
            except FrameError:
                continue
            self.tick += 1
            if not self.deaf:
                out += self._answer(payload)
        return out

    def unasked(self, name: str, **fields: int) -> bytes:
        names = [f.name for f in load_schema().messages[name].body.fields]
        values = dict.fromkeys(names, 0) | {"tick": self.tick} | fields
        self.counter = (self.counter + 1) & 0xFF
        return framing.encode(messages.pack_unasked(name, self.session, self.counter, **values))

    def _answer(self, payload: bytes) -> bytes:
        message = messages.parse(payload)
        name = message.name
        if name == "alive":
            self.renewals.append(message.fields["tick"])
            return b""
        if name == "open":
            return self._open(message, payload)
        if name not in OUTSIDE:
            if message.session != self.session or not self.session:
                return self._reply(message, Status.NO_SESSION)
            if self.last == (message.seq, payload):
                return self.remembered
            if message.seq != (self.last[0] + 1) & 0xFF:
                return self._reply(message, Status.SEQUENCE)
            self.last = (message.seq, payload)
        self.carried_out.append((name, message.fields))
        self.remembered = self._reply(message, Status.OK, **self._fields(name))
        return self.remembered

    def _open(self, message: messages.Message, payload: bytes) -> bytes:
        if message.fields["boot_nonce"] != self.nonce:
            return self._reply(message, Status.WRONG_NONCE)
        if message.session == self.session:
            if self.last == (message.seq, payload):
                return self.remembered
            return self._reply(message, Status.SESSION_IN_USE)
        self.session, self.last = message.session, (message.seq, payload)
        self.carried_out.append(("open", message.fields))
        self.remembered = self._reply(message, Status.OK)
        return self.remembered

    def _reply(self, message: messages.Message, status: int, **fields: int) -> bytes:
        payload = messages.pack_reply(
            message.name, message.session, message.seq, tick=self.tick, status=status, **fields
        )
        return framing.encode(payload)

    def _fields(self, name: str) -> dict:
        given = {f.name: 0 for f in load_schema().messages[name].reply.fields[3:]}
        if "items" in given:
            given["items"] = []
        if name == "hello":
            major, minor, digest = self.version
            given |= {"protocol_major": major, "protocol_minor": minor, "schema_digest": digest}
            given |= {"boot_nonce": self.nonce, "axis_count": 2, "name": "fake", "board_kind": 1}
        if name == "outcome":
            given |= {"motion": self.motion, "ended": Ended.RUNNING}
        elif "motion" in given:
            self.motion += 1
            given["motion"] = self.motion
        return given


class FakeTransport:
    """In process and in virtual time. `drop(direction, count)` says which frames are lost."""

    name = "fake"
    threaded = False

    def __init__(self, board: FakeBoard, clock, drop=lambda direction, number: False):
        self.board = board
        self.clock = clock
        self.drop = drop
        self.sent: list[tuple[float, bytes]] = []
        self.waiting: list[tuple[float, bytes]] = []
        self.delay_s = 0.005
        self.gone = False

    def write(self, data: bytes) -> None:
        if self.gone:
            raise LinkLost("fake went away")
        self.sent.append((self.clock.now(), data))
        if self.drop("out", len(self.sent)):
            return
        reply = self.board.take(data)
        if reply and not self.drop("in", len(self.sent)):
            self.waiting.append((self.clock.now() + self.delay_s, reply))

    def read(self, timeout_s: float) -> bytes:
        until = self.clock.now() + timeout_s
        while True:
            if self.gone:
                raise LinkLost("fake went away")
            due = [d for t, d in self.waiting if t <= self.clock.now() + 1e-9]
            if due:
                self.waiting = [(t, d) for t, d in self.waiting if t > self.clock.now() + 1e-9]
                return b"".join(due)
            if self.clock.now() >= until - 1e-9:
                return b""
            self.clock.advance(1)

    def close(self) -> None:
        pass


class FakeOnPty:
    """The fake board behind a pseudo-terminal, in real time, in a thread."""

    def __init__(self, board: FakeBoard | None = None, *, talk: bytes = b"", boot_s: float = 0.0):
        self.board = board or FakeBoard()
        self.master, self.slave = os.openpty()
        self.path = os.ttyname(self.slave)
        tty.setraw(self.slave)
        os.close(self.slave)  # only the host has it open
        self._talk = talk
        self._deaf_until = time.monotonic() + boot_s
        self._ending = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def unplug(self) -> None:
        """The port goes away."""
        self._ending = True
        self._thread.join(1.0)
        os.close(self.master)

    close = unplug

    def _run(self) -> None:
        import select

        while not self._ending:
            if self._talk:
                os.write(self.master, self._talk)
                self.board.deaf = True  # another device
            if not select.select([self.master], [], [], 0.02)[0]:
                continue
            try:
                data = os.read(self.master, 4096)
            except OSError:  # no host has it open
                time.sleep(0.005)
                continue
            if time.monotonic() < self._deaf_until:
                continue
            out = self.board.take(data)
            if out:
                os.write(self.master, out)
