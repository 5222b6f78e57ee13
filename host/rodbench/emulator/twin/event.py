"""Events onto the line. One that finds no room is dropped, counted, and leaves a gap."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import EventKind, MessageId

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.axis import AxisEvent
from rodbench.emulator.twin.blackbox import blackbox_freeze
from rodbench.emulator.twin.telemetry import telemetry_header, telemetry_send
from rodbench.emulator.twin.trips import trips_note

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

_EVENT = wire.unasked("event")
_ID = int(MessageId.EVENT)


def event_send(core: Twin, axis: int, event: AxisEvent, output_before: int) -> None:
    """Axis 0 is the board."""
    raw = position = current = 0
    if axis:
        ax = core.axis[axis - 1]
        raw, position, current = ax.raw, ax.position_um, ax.current_ma
    core.event_number = (core.event_number + 1) & 0xFFFF
    frame = _EVENT.pack(
        *telemetry_header(core, _ID),
        core.ticks,
        core.event_number,
        axis,
        event.kind,
        event.cause,
        raw,
        position,
        current,
        output_before,
        event.value_a,
        event.value_b,
    )
    telemetry_send(core, frame)
    if event.kind == EventKind.TRIP:
        trips_note(core, (axis, event.cause, raw, position, current, output_before))
        blackbox_freeze(core.noinit.box, axis, event.cause)


def event_board(core: Twin, kind: int, cause: int, value_a: int) -> None:
    """An event of the board."""
    event_send(core, 0, AxisEvent(kind, cause, value_a, 0), 0)
