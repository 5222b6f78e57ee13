"""The trip log: the last eight trips, in non-volatile memory. Trip n lies at place n % 8."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rodbench_protocol.names import Status

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.store import STORE_TRIPS_AT, record_get

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

PLACES = 8
TRIPS_WAITING = 2
TICKS_PER_MIN = 12000
_TRIP = wire.reply("trip_get")
_NUMBER = struct.Struct("<H")
PLACE_SIZE = _TRIP.size + 1
_U16_MAX = 0xFFFF


class Trips:
    """`number` is that of the newest; `waiting` are yet to be written, laid out as the reply."""

    __slots__ = ("number", "waiting")

    def __init__(self) -> None:
        self.number = 0
        self.waiting: list[bytes] = []


def _number_of(trip: bytes) -> int:
    return int(_NUMBER.unpack_from(trip)[0])


def _place_of(number: int) -> int:
    return STORE_TRIPS_AT + number % PLACES * PLACE_SIZE


def trips_start(core: Twin) -> None:
    """Find the newest record."""
    found = False
    for n in range(PLACES):
        trip = record_get(_TRIP.size, _place_of(n), core.eeprom)
        if trip is None:
            continue
        number = _number_of(trip)
        if not found or 0 < (number - core.trips.number) & _U16_MAX < 0x8000:
            core.trips.number = number
            found = True


def _uptime_min(core: Twin) -> int:
    return min(core.ticks // TICKS_PER_MIN, _U16_MAX)


def trips_note(core: Twin, axis: int, fault: int, output_before: int) -> None:
    """A fault was latched; axis 0 is the board."""
    trips = core.trips
    trips.number = (trips.number + 1) & _U16_MAX
    if len(trips.waiting) == TRIPS_WAITING:
        return
    position = raw = current = output = 0
    if axis:
        of = core.axis[axis - 1]
        position, raw, current = of.position_um, of.raw, of.current_ma
        output = div_toward_zero(output_before, 10)
    fields = (trips.number, axis, fault, position, raw, current)
    trips.waiting.append(_TRIP.pack(*fields, core.supply_mv, output, _uptime_min(core)))


def trips_get(core: Twin, age: int) -> tuple[int, bytes]:
    """The trip `age` before the newest, and its status."""
    number = (core.trips.number - age) & _U16_MAX
    for trip in core.trips.waiting:
        if _number_of(trip) == number:
            return Status.OK, trip
    if not core.ee_ready:
        return Status.BUSY, b""
    kept = record_get(_TRIP.size, _place_of(number), core.eeprom)
    if kept is None or _number_of(kept) != number:
        return Status.NOTHING_KEPT, b""
    return Status.OK, kept


def trips_due(core: Twin) -> tuple[int, bytes] | None:
    """Place and bytes of the record to write."""
    waiting = core.trips.waiting
    return (_place_of(_number_of(waiting[0])), waiting[0]) if waiting else None


def trips_written(core: Twin) -> None:
    """The record has ended, good or not."""
    del core.trips.waiting[0]
