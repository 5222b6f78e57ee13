"""Bytes from the line into frames: two slots in order of arrival, and one of its own for a stop."""

from __future__ import annotations

from rodbench_protocol.framing import ENCODED_MAX as RX_FRAME_MAX
from rodbench_protocol.names import STOP_FRAME_MAX, MessageId

RX_SLOTS = 2
RX_DAMAGED = 0xFF
SLOT, STOP, LOST = range(3)
_STOP = int(MessageId.STOP)


class Rx:
    """Raw frames wait in `slots` and `stop`; `fill` counts the bytes of the frame coming in."""

    __slots__ = ("_frame", "bad", "dropped", "fill", "place", "slots", "stop")

    def __init__(self) -> None:
        self.slots: list[bytes] = []
        self.stop = b""
        self.bad = 0
        self.dropped = 0
        self.fill = 0
        self.place = SLOT
        self._frame = b""


def rx_bytes(rx: Rx, data: bytes) -> None:
    """Take some bytes in order; the same as rx_byte of C for each."""
    *ended, rest = data.split(b"\0")
    for part in ended:
        _add(rx, part)
        _end(rx)
    _add(rx, rest)


def rx_damage(rx: Rx) -> None:
    """The line saw a framing error or lost a byte: the frame under way is not usable."""
    rx.fill = RX_DAMAGED


def rx_waiting(rx: Rx) -> int:
    """Frames that wait."""
    return len(rx.slots)


def _add(rx: Rx, part: bytes) -> None:
    if not part or rx.fill > RX_FRAME_MAX:
        return
    if rx.fill == 0:
        rx.place = _place(rx)
        rx._frame = b""
    rx.fill = min(rx.fill + len(part), RX_FRAME_MAX + 1)
    rx._frame = (rx._frame + part)[:RX_FRAME_MAX]


def _place(rx: Rx) -> int:
    """Where the frame that begins now goes."""
    if len(rx.slots) < RX_SLOTS:
        return SLOT
    return LOST if rx.stop else STOP


def _is_stop(frame: bytes) -> bool:
    return 2 <= len(frame) <= STOP_FRAME_MAX and frame[1] == _STOP


def _end(rx: Rx) -> None:
    size, frame = rx.fill, rx._frame
    rx.fill = 0
    if size == 0:
        return
    if size > RX_FRAME_MAX:
        rx.bad += 1
    elif rx.place != LOST and not rx.stop and _is_stop(frame):
        rx.stop = frame
    elif rx.place != SLOT:
        rx.dropped += 1
    else:
        rx.slots.append(frame)
