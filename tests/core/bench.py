"""A native board with two rods whose currents and pots a test turns up, and its log as it lies.

What is read from the memory here is read by the map in the firmware's README, with no code of the
project but the CRC's definition: struct and binascii alone.
"""

from __future__ import annotations

import binascii
import ctypes as ct
import struct
from collections.abc import Sequence
from typing import NamedTuple

from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.core.host import BLANK, SESSION, Host

TRIPS_AT, TRIP_SIZE, TRIPS = 873, 18, 8
TOTALS_AT, TOTALS_SIZE = 817, 28
HOT_AT, HOT_SIZE, HOT_PLACES = 657, 9, 17
OVER_COUNTS = 4000  # of the current input: above any trip
TRIP_TICKS = 11


class Trip(NamedTuple):
    """One record of the log."""

    number: int
    axis: int
    fault: int
    position_um: int
    raw: int
    current_ma: int
    supply_mv: int
    output_percent: int
    uptime_min: int


def good(record: bytes) -> bool:
    """Whether the check byte fits: low byte of the frames' CRC over the rest, 0 for 0xFF."""
    check = binascii.crc_hqx(record[:-1], 0xFFFF) & 0xFF
    return record[-1] == (0 if check == 0xFF else check)


def log_of(image: bytes) -> list[Trip]:
    """The trips that a memory holds, newest first."""
    places = range(TRIPS_AT, TRIPS_AT + TRIPS * TRIP_SIZE, TRIP_SIZE)
    records = [image[at : at + TRIP_SIZE] for at in places]
    trips = [Trip(*struct.unpack("<HBBiHhHbH", r[:-1])) for r in records if good(r)]
    return sorted(trips, key=lambda trip: trip.number, reverse=True)


def totals_of(image: bytes) -> tuple[int, ...]:
    """Number, then on-time, starts and travel of axis 1 and 2, of the newest record; or nothing."""
    records = [image[at : at + TOTALS_SIZE] for at in (TOTALS_AT, TOTALS_AT + TOTALS_SIZE)]
    return max((struct.unpack("<H6I", r[:26]) for r in records if good(r)), default=())


def hot_of(image: bytes) -> tuple[int, ...]:
    """Number, then on-time and heat of axis 1 and 2, of the newest hot record; or nothing."""
    places = range(HOT_AT, HOT_AT + HOT_PLACES * HOT_SIZE, HOT_SIZE)
    records = [image[at : at + HOT_SIZE] for at in places]
    return max((struct.unpack("<HHBHB", r[:-1]) for r in records if good(r)), default=())


class Bench(Host):
    """Both axes uncalibrated with a pot, or as `settings` say."""

    POTS = (4000, 4100)

    def __init__(self, image: bytes = BLANK, lib: ct.CDLL | None = None, **changes: int) -> None:
        super().__init__(image, lib)
        self.pot, self.current = list(self.POTS), [0, 0]
        self.board.set_readings(self.POTS, (0, 0))
        if changes or image == BLANK:
            self.change(**({"feedback": 1} | changes))
            self.store()

    def run(self, ticks: int, data: bytes = b"") -> None:
        """Ticks with the motions kept alive."""
        for _ in range(ticks):
            self.board.set_readings((self.pot[0], self.pot[1]), (self.current[0], self.current[1]))
            now = self.board.fields().tick
            alive = framing.encode(messages.pack("alive", SESSION, 0, tick=now))
            self.tick(alive + data)
            data = b""

    def jog(self, *axes: int, value: int = 300) -> None:
        """Begin to jog by output."""
        for axis in axes:
            assert self.status("jog", axis=axis, unit=0, value=value) == Status.OK, axis

    def trip(self, *axes: int) -> None:
        """Jog, then over-current of all these axes in the same tick."""
        self.jog(*axes)
        for step in range(15):
            for axis in axes:
                self.pot[axis - 1] += 4 * (step % 2 or 3)
            self.run(1)
        for axis in axes:
            self.current[axis - 1] = OVER_COUNTS
        self.run(TRIP_TICKS)
        self.current = [0, 0]

    def clear(self) -> None:
        """All faults."""
        self.ask("clear", axis=0)

    def settle(self, ticks: int = 120) -> list[tuple[int, int]]:
        """Until all is written; the bytes in order."""
        self.writes.clear()
        self.run(ticks)
        return list(self.writes)

    def log(self) -> list[Trip]:
        """By trip_get, newest first: what the board tells."""
        told = []
        for age in range(TRIPS + 2):
            for _ in range(60):  # busy: another record is being written, ask again
                status = self.status("trip_get", age=age)
                if status != Status.BUSY:
                    break
            if status == Status.OK:
                fields = self.replies[0].fields
                told.append(Trip(*(fields[name] for name in Trip._fields)))
            else:
                assert status == Status.NOTHING_KEPT
        return told

    def totals(self, axis: int) -> tuple[int, int, int]:
        """On-time in s, starts, travel in mm."""
        told = self.ask("totals", axis=axis)
        return told["on_s"], told["starts"], told["travel_mm"]


def torn(old: int, new: int, garbage: int) -> Sequence[int]:
    """What a byte may read whose write was cut off."""
    return sorted({old, new, 0xFF, old & new, garbage})
