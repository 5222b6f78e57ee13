"""Replays the scripted sessions of vectors.json against a board: core, twin or another."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any, Protocol

from rodbench_protocol import framing
from rodbench_protocol.messages import REPLY_FLAG, Message, pack, parse
from rodbench_protocol.names import Status
from rodbench_protocol.schema import load_schema

Json = dict[str, Any]


class SessionBoard(Protocol):
    """What a board must offer to be put through a session."""

    def start(self, reset_flags: int, nonce_seed: int, power_lost: bool) -> None:
        """Boot: with `power_lost` RAM is gone; EEPROM stays (blank, 0xFF, at the first start)."""

    def receive(self, data: bytes) -> None:
        """Bytes from the host."""

    def tick(self, readings: Json) -> Json:
        """One tick; returns {"drive": [axis 1, axis 2], "restart": 0 or 1}."""

    def transmit(self) -> bytes:
        """All bytes that the board has sent since the last call."""


class SessionFailed(AssertionError):
    """The board did not do what the session expects."""


def replay(session: Json, board: SessionBoard) -> int:
    """Runs one session; returns how many replies were compared. Raises SessionFailed."""
    return _Replay(session, board).run()


class _Replay:
    def __init__(self, session: Json, board: SessionBoard) -> None:
        self.session, self.board = session, board
        self.names: dict[str, Any] = {}
        self.readings = dict(session["readings"])
        self.splitter = framing.Splitter()
        self.where = ""
        self.outputs: Json = {"drive": [0, 0], "restart": 0}
        self.restarted = False

    def run(self) -> int:
        start = self.session["start"]
        self.board.start(start["reset_flags"], start["nonce_seed"], True)
        compared = 0
        for number, step in enumerate(self.session["steps"], 1):
            self.where = f"session {self.session['name']}, step {number}: {step}"
            replies, unasked = self._perform(step)
            self._compare_replies(step["expect"], replies)
            self._compare_unasked(step, unasked)
            self._compare_outputs(step)
            compared += len(step["expect"])
        return compared

    def fail(self, text: str) -> SessionFailed:
        return SessionFailed(f"{self.where}\n{text}")

    def _perform(self, step: Json) -> tuple[list[bytes], list[Message]]:
        self.readings |= step.get("readings", {})
        if "reset" in step:
            seed = self.session["start"]["nonce_seed"]
            self.board.start(step["reset"], seed, step.get("power_lost", False))
        self.board.receive(b"".join(self._bytes(f) for f in step["send"]))
        sent, self.restarted = b"", False
        for _ in range(step["ticks"]):
            self.outputs = self.board.tick(self.readings)
            sent += self.board.transmit()
            self.restarted = bool(self.outputs["restart"])
            if self.restarted:
                break
        payloads = [framing.decode(f) for f in self.splitter.feed(sent)]
        replies = [p for p in payloads if p[0] & REPLY_FLAG]
        return replies, [parse(p) for p in payloads if not p[0] & REPLY_FLAG]

    def _bytes(self, frame: Json) -> bytes:
        if "frame" in frame:
            return bytes.fromhex(frame["frame"])
        fields = {k: self._value(v) for k, v in frame["fields"].items()}
        seq = self._value(frame["seq"])
        return framing.encode(pack(frame["message"], frame["session"], seq % 256, **fields))

    def _value(self, text: Any) -> Any:
        """A value to send: a number, or $name, $name+5, $name-1."""
        if not (isinstance(text, str) and text.startswith("$")):
            return text
        for sign, factor in (("+", 1), ("-", -1)):
            name, found, offset = text.partition(sign)
            if found:
                return self.names[name] + factor * int(offset)
        return self.names[text]

    def _matches(self, wanted: Any, got: Any) -> bool:
        if isinstance(wanted, str) and wanted[:1] == "$" and wanted[1:].isidentifier():
            self.names.setdefault(wanted, got)
            return bool(self.names[wanted] == got)
        return bool(self._value(wanted) == got)

    def _compare_replies(self, expect: list[Json], replies: list[bytes]) -> None:
        if len(expect) != len(replies):
            raise self.fail(f"{len(replies)} replies, expected {len(expect)}: {replies}")
        for wanted, payload in zip(expect, replies, strict=True):
            self._compare_reply(wanted, payload)

    def _compare_reply(self, wanted: Json, payload: bytes) -> None:
        head = [message_id(wanted["message"]) | REPLY_FLAG, wanted["session"], wanted["seq"] % 256]
        if list(payload[:3]) != head:
            raise self.fail(f"header {payload[:3].hex()}, expected {bytes(head).hex()}")
        status, detail = payload[7], int.from_bytes(payload[8:10], "little")
        wanted_status = Status[wanted["status"].upper()]
        if (status, detail) != (wanted_status, wanted["detail"]):
            raise self.fail(f"status {Status(status).name} {detail}, expected {wanted_status.name}")
        if "frame" in wanted and not self._matches(wanted["frame"], payload):
            raise self.fail("not the same bytes as before")
        if wanted["fields"]:
            self._compare_fields(wanted["fields"], parse(payload).fields)

    def _compare_fields(self, wanted: Json, got: Json) -> None:
        for name, value in wanted.items():
            if not self._matches(value, got[name]):
                raise self.fail(f"{name} is {got[name]}, expected {value}")

    def _compare_unasked(self, step: Json, unasked: list[Message]) -> None:
        seen = Counter(m.name for m in unasked)
        events = iter([m.fields for m in unasked if m.name == "event"])
        for wanted in step.get("events", ()):
            if not any(all(e[k] == v for k, v in wanted.items()) for e in events):
                raise self.fail(f"no event {wanted}; unasked: {unasked}")
        for name in step.get("never", ()):
            if seen[name]:
                raise self.fail(f"{name} came unasked for")
        for name, count in step.get("at_least", {}).items():
            if seen[name] < count:
                raise self.fail(f"{seen[name]} {name}, expected at least {count}")

    def _compare_outputs(self, step: Json) -> None:
        driving = [drive != 0 for drive in self.outputs["drive"]]
        wanted = step.get("outputs", {}).get("driving", driving)
        if driving != wanted:
            raise self.fail(f"driving {driving}, expected {wanted}")
        if bool(step.get("restarts")) != self.restarted:
            raise self.fail(f"restart asked for: {self.restarted}")


def message_id(name: str) -> int:
    """Id of a message name, or of 0xNN for one that the schema does not know."""
    return int(name, 16) if name.startswith("0x") else load_schema().messages[name].id


def replay_all(sessions: list[Json], board: Callable[[], SessionBoard]) -> int:
    """Runs every session on a new board; returns how many replies were compared."""
    return sum(replay(session, board()) for session in sessions)
