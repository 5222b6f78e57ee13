"""The trip log: the last eight trips, in non-volatile memory. Trip n lies at place n % 8."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import Status

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.store import (
    STORE_TRIPS_AT,
    record_get,
    record_newest,
    record_number,
    record_seal,
)

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

PLACES = 8
TRIPS_WAITING = 2
TICKS_PER_MIN = 12000
_TRIP = wire.reply("trip_get")
PLACE_SIZE = _TRIP.size + 1
_U16_MAX = 0xFFFF


class Trips:
    """`number` is that of the newest; `waiting` are yet to be written."""

    __slots__ = ("number", "waiting")

    def __init__(self) -> None:
        self.number = 0
        self.waiting: list[bytes] = []


def _place_of(number: int) -> int:
    return STORE_TRIPS_AT + number % PLACES * PLACE_SIZE


def trips_start(core: Twin) -> None:
    """Find the newest record."""
    newest = record_newest(PLACE_SIZE, STORE_TRIPS_AT, PLACES, core.eeprom)
    core.trips.number = record_number(newest)


def trips_note(core: Twin, event: tuple[int, ...]) -> None:
    """A fault was latched: axis, fault, raw, position, current, output of its event."""
    trips, (axis, fault, raw, position, current, output) = core.trips, event
    trips.number = (trips.number + 1) & _U16_MAX
    if len(trips.waiting) == TRIPS_WAITING:
        return
    percent = div_toward_zero(output, 10)
    uptime_min = min(core.ticks // TICKS_PER_MIN, _U16_MAX)
    fields = (trips.number, axis, fault, position, raw, current)
    trip = _TRIP.pack(*fields, core.supply_mv, percent, uptime_min)
    trips.waiting.append(record_seal(trip))


def trips_get(core: Twin, age: int) -> tuple[int, bytes]:
    """The trip `age` before the newest, and its status."""
    number = (core.trips.number - age) & _U16_MAX
    if not core.ee_ready or core.memory.at:
        return Status.BUSY, b""
    kept = record_get(PLACE_SIZE, _place_of(number), core.eeprom)
    if kept is None or record_number(kept) != number:
        return Status.NOTHING_KEPT, b""
    return Status.OK, kept[:-1]


def trips_due(core: Twin) -> tuple[int, bytes] | None:
    """Place and bytes of the record to write."""
    waiting = core.trips.waiting
    return (_place_of(record_number(waiting[0])), waiting[0]) if waiting else None


def trips_written(core: Twin) -> None:
    """The record has ended, good or not."""
    del core.trips.waiting[0]
