"""Frames into acts: session, sequence, remembered reply, and one handler per message."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rodbench_protocol import framing
from rodbench_protocol.errors import FrameError
from rodbench_protocol.names import REPLY_FLAG, MessageId, Status

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.axis import axis_renew
from rodbench.emulator.twin.call import Call
from rodbench.emulator.twin.handle import handle_hello, handle_open, handle_request
from rodbench.emulator.twin.handle_motion import handle_stop
from rodbench.emulator.twin.rx import RX_SLOTS, rx_waiting
from rodbench.emulator.twin.tx import tx_reply, tx_room_for_replies

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

FIRST_ONE_WAY = int(MessageId.ALIVE)
HEADER_SIZE = 3
_REPLY_HEAD = struct.Struct("<BBBIBH")
_ALIVE = wire.request("alive")


class Session:
    """Session 0: none open. `request` is the payload that a repeat must equal."""

    __slots__ = ("newest_alive", "number", "opens", "recent", "reply", "request", "seq")

    def __init__(self) -> None:
        self.number = 0
        self.recent = [0] * 4  # numbers of the last opens, this one too: not to be opened again
        self.opens = 0
        self.seq = 0
        self.request = b""
        self.reply = b""
        self.newest_alive = 0


def _is_repeat(session: Session, frame: bytes) -> bool:
    """C compares size and CRC; the payload is what they stand for."""
    return session.number != 0 and frame == session.request


def _answer(core: Twin, call: Call, frame: bytes, status: int, keep: bool) -> None:
    head = _REPLY_HEAD.pack(
        frame[0] | REPLY_FLAG, frame[1], frame[2], core.ticks, status, call.detail
    )
    reply = head + call.reply if status == Status.OK else head
    tx_reply(core.tx, reply)
    if keep:
        session = core.session
        session.seq, session.request, session.reply = frame[2], frame, reply


def _in_sequence(core: Twin, call: Call, frame: bytes) -> None:
    if frame[2] != (core.session.seq + 1) & 0xFF:
        _answer(core, call, frame, Status.SEQUENCE, False)
        return
    core.counters.requests_done += 1
    _answer(core, call, frame, handle_request(core, call, frame[0]), True)


def _take_request(core: Twin, frame: bytes, barred: bool) -> None:
    call = Call(frame[HEADER_SIZE:], barred)
    session = core.session
    if frame[0] == MessageId.HELLO:
        _answer(core, call, frame, handle_hello(core, call), False)
    elif frame[0] == MessageId.STOP:
        _answer(core, call, frame, handle_stop(core, call), False)
    elif _is_repeat(session, frame):
        core.counters.repeats = (core.counters.repeats + 1) & 0xFFFF
        tx_reply(core.tx, session.reply)
    elif frame[0] == MessageId.OPEN:
        status = handle_open(core, call, frame[1], frame[2])
        _answer(core, call, frame, status, status == Status.OK)
    elif session.number == 0 or frame[1] != session.number:
        _answer(core, call, frame, Status.NO_SESSION, False)
    else:
        _in_sequence(core, call, frame)


def _take_alive(core: Twin, frame: bytes) -> None:
    """An echo counts when it is of this session, of the past, and not older than the newest."""
    session, now = core.session, core.ticks
    long_enough = len(frame) >= HEADER_SIZE + _ALIVE.size
    echo = _ALIVE.unpack_from(frame, HEADER_SIZE)[0] if long_enough else now + 1
    age = (now - echo) & 0xFFFFFFFF
    newest_age = (now - session.newest_alive) & 0xFFFFFFFF
    if session.number == 0 or frame[1] != session.number or age > newest_age:
        core.counters.alive_ignored = (core.counters.alive_ignored + 1) & 0xFFFF
        return
    session.newest_alive = echo
    for axis in core.axis:
        axis_renew(axis, echo)


def _decode(core: Twin, frame: bytes) -> bytes:
    try:
        payload = framing.decode(frame)
    except FrameError:
        core.counters.frames_bad = (core.counters.frames_bad + 1) & 0xFFFF
        return b""
    core.counters.frames_good += 1
    return payload


def _take_stop(core: Twin) -> None:
    rx = core.rx
    if not rx.stop:
        return
    frame = _decode(core, rx.stop)
    if frame:
        core.barred = rx_waiting(rx)
        _take_request(core, frame, False)
    rx.stop = b""


def _take_frame(core: Twin, frame: bytes) -> bool:
    """Take a frame; True when it was a request."""
    payload = _decode(core, frame)
    if not payload:
        return False
    if payload[1] == core.session.number:
        core.heard = core.ticks
    if payload[0] < FIRST_ONE_WAY:
        _take_request(core, payload, core.barred != 0)
        return True
    if payload[0] == FIRST_ONE_WAY:
        _take_alive(core, payload)
    return False


def _take_over_counts(core: Twin) -> None:
    rx, counters = core.rx, core.counters
    counters.frames_bad = (counters.frames_bad + rx.bad) & 0xFFFF
    counters.frames_dropped = (counters.frames_dropped + rx.dropped) & 0xFFFF
    rx.bad = rx.dropped = 0


def dispatch_tick(core: Twin) -> None:
    """A stop first, then frames in order of arrival up to and with the first request."""
    rx = core.rx
    if rx.bad or rx.dropped:
        _take_over_counts(core)
    if core.restart_in or not tx_room_for_replies(core.tx):
        return
    _take_stop(core)
    for _ in range(RX_SLOTS):
        if not rx.slots:
            break
        done = _take_frame(core, rx.slots[0])
        core.barred = max(0, core.barred - 1)
        rx.slots.pop(0)
        if done:
            break
