"""The client's heart: bytes in, replies and telemetry out. No port, no clock, no thread.

It frames requests, matches replies on id, session and sequence number, drops and counts late ones,
and keeps the newest board tick of the open session.
"""

from __future__ import annotations

import contextlib
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rodbench_protocol import framing, messages, stream
from rodbench_protocol.errors import FrameError, MessageError
from rodbench_protocol.names import AxisTelemetry, BoardTelemetry, Event, MessageId
from rodbench_protocol.schema import load_schema

from rodbench.link.api import LinkStatistics, Unasked

UNASKED_KEPT = 8192  # payloads; who polls less often than every 40 s at full telemetry loses some
OUTSIDE_SEQUENCE = frozenset({"hello", "stop"})
_REPLY_FLAG = 0x80
_HALF = 1 << 31


_DECODERS: dict[int, Callable[[bytes], Unasked]] = {
    MessageId.TELEMETRY_AXIS: stream.decode_axis,
    MessageId.TELEMETRY_BOARD: stream.decode_board,
    MessageId.EVENT: stream.decode_event,
}
_KINDS: dict[int, Callable[..., Unasked]] = {
    MessageId.TELEMETRY_AXIS: AxisTelemetry,
    MessageId.TELEMETRY_BOARD: BoardTelemetry,
    MessageId.EVENT: Event,
}


def decode_unasked(payloads: list[bytes]) -> list[Unasked]:
    """Telemetry and events of payloads; what is too short to be one is left out."""
    found: list[Unasked] = []
    for payload in payloads:
        try:
            found.append(_DECODERS[payload[0]](payload))
        except MessageError:
            with contextlib.suppress(MessageError):
                found.append(_older(payload))
    return found


def _older(payload: bytes) -> Unasked:
    """Of a board of an older protocol minor: what it does not tell is 0. Raises MessageError."""
    message = messages.parse(payload)
    return _KINDS[payload[0]](counter=message.seq, **message.fields)


def newer_tick(one: int, other: int) -> int:
    """The later of two board ticks, which count modulo 2^32."""
    return one if (one - other) % (2 * _HALF) < _HALF else other


@dataclass(slots=True)
class Pending:
    """A request on its way: its frame, and the reply once it has come."""

    name: str
    key: tuple[int, int, int]  # reply id, session, seq
    frame: bytes
    fields: dict[str, Any] | None = None
    raw: bytes = b""


class Heart:
    """State of one link. Not thread-safe: the client holds a lock."""

    def __init__(self, statistics: LinkStatistics) -> None:
        self.statistics = statistics
        self.session = 0
        self.newest_tick = 0
        self.unasked: deque[bytes] = deque(maxlen=UNASKED_KEPT)
        self.restarted = False  # an event without a session came: the board has started anew
        self.bytes_seen = 0
        self.dropped = 0  # payloads that nobody polled in time
        self._splitter = framing.Splitter()
        self._seq = 0
        self._aside_seq = 0
        self._counter: int | None = None
        self._waiting: dict[tuple[int, int, int], Pending] = {}
        ids = {name: message.id for name, message in load_schema().messages.items()}
        self._id = ids

    def ask(self, name: str, fields: dict[str, Any], *, session: int | None = None) -> Pending:
        """A new request; raises MessageError for fields that the schema does not have."""
        session = self.session if session is None else session
        seq = self._next_aside() if name in OUTSIDE_SEQUENCE else self._next_seq(name)
        payload = messages.pack(name, session, seq, **fields)
        if name not in OUTSIDE_SEQUENCE:
            self._seq = seq
        key = (self._id[name] | _REPLY_FLAG, session, seq)
        pending = Pending(name, key, framing.encode(payload))
        self._waiting[key] = pending
        return pending

    def forget(self, pending: Pending) -> None:
        """Wait no longer; a reply that still comes is late."""
        self._waiting.pop(pending.key, None)

    def opened(self, session: int, tick: int) -> None:
        """A new session is in force, from this board tick on."""
        self.session = session
        self.newest_tick = tick
        self._counter = None
        self.unasked.clear()
        self.restarted = False

    def alive(self, tick: int) -> bytes:
        """A renewal that echoes `tick`."""
        return framing.encode(messages.pack("alive", self.session, 0, tick=tick))

    def feed(self, data: bytes) -> None:
        """Take bytes from the port."""
        self.bytes_seen += len(data)
        for frame in self._splitter.feed(data):
            try:
                payload = framing.decode(frame)
            except FrameError:
                self.statistics.frames_bad += 1
                continue
            self.statistics.frames_good += 1
            self._route(payload)

    def _next_seq(self, name: str) -> int:
        # by chance: an open like another host's would be answered from the board's memory
        return random.SystemRandom().randrange(256) if name == "open" else (self._seq + 1) & 0xFF

    def _next_aside(self) -> int:
        self._aside_seq = (self._aside_seq + 1) & 0xFF
        return self._aside_seq

    def _route(self, payload: bytes) -> None:
        if payload[0] in _DECODERS:
            self._take_unasked(payload)
            return
        pending = self._waiting.pop((payload[0], payload[1], payload[2]), None)
        if pending is None:
            self.statistics.late_replies += 1
            return
        self._take_reply(pending, payload)

    def _take_reply(self, pending: Pending, payload: bytes) -> None:
        pending.raw = payload
        try:
            pending.fields = messages.parse(payload).fields
        except MessageError:
            pending.fields = {}  # the client says which; another major must not look like noise
            return
        if payload[1] == self.session and self.session:
            self.newest_tick = newer_tick(pending.fields["tick"], self.newest_tick)

    def _take_unasked(self, payload: bytes) -> None:
        if payload[1] != self.session or len(payload) < 7:
            self.restarted |= payload[0] == MessageId.EVENT and not payload[1]
            self.statistics.late_replies += 1  # of a session that is over
            return
        self.statistics.unasked += 1
        if self._counter is not None:
            self.statistics.unasked_missed += (payload[2] - self._counter - 1) & 0xFF
        self._counter = payload[2]
        if payload[0] != MessageId.EVENT:  # which tells when it happened, and may be old
            tick = int.from_bytes(payload[3:7], "little")
            self.newest_tick = newer_tick(tick, self.newest_tick)
        self.dropped += len(self.unasked) == UNASKED_KEPT
        self.unasked.append(payload)
