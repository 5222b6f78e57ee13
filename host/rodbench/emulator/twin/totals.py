"""What each axis has done in all: on-time, starts, travel."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rodbench.emulator.twin.blackbox import blackbox_motion
from rodbench.emulator.twin.store import STORE_TOTALS_AT, record_newest, record_seal

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

TICKS_PER_S = 200
MM = 1000
PAUSE = 60000
_RECORD = struct.Struct("<H6Ix")  # and the check byte
_ALSO = struct.Struct("<2HHBBB")
PLACE_SIZE = _RECORD.size + 1
_U16_MAX = 0xFFFF
_U32_MAX = 0xFFFFFFFF
TOTALS_BYTES = _RECORD.size + _ALSO.size


class Total:
    """Of one axis."""

    __slots__ = ("on_s", "starts", "travel_mm")

    def __init__(self) -> None:
        self.on_s = self.starts = self.travel_mm = 0

    def fields(self) -> tuple[int, int, int]:
        """As the reply has them."""
        return self.on_s, self.starts, self.travel_mm


class Totals:
    """Of both axes, as RAM keeps them through a reset; `number` is that of the next record."""

    __slots__ = ("axis", "changed", "number", "pause", "ticks", "um")

    def __init__(self) -> None:
        self.number = 0
        self.axis = [Total(), Total()]
        self.um = [0, 0]
        self.pause = 0
        self.ticks = [0, 0]
        self.changed = 0

    def record(self) -> bytes:
        """As written."""
        return _RECORD.pack(self.number, *self.axis[0].fields(), *self.axis[1].fields())

    def take(self, record: bytes) -> None:
        """Undo record."""
        self.number, *fields = _RECORD.unpack(record)
        for index, total in enumerate(self.axis):
            total.on_s, total.starts, total.travel_mm = fields[3 * index : 3 * index + 3]

    def to_bytes(self) -> bytes:
        """For keeping them between processes."""
        return self.record() + struct.pack(
            "<2HHBBB", *self.um, self.pause, *self.ticks, self.changed
        )

    @classmethod
    def from_bytes(cls, data: bytes) -> Totals:
        """Undo to_bytes."""
        totals = cls()
        totals.take(data[: _RECORD.size])
        um_1, um_2, totals.pause, ticks_1, ticks_2, totals.changed = _ALSO.unpack_from(
            data, _RECORD.size
        )
        totals.um, totals.ticks = [um_1, um_2], [ticks_1, ticks_2]
        return totals


def _place_of(number: int) -> int:
    return STORE_TOTALS_AT + number % 2 * PLACE_SIZE


def totals_start(core: Twin, kept: bool) -> None:
    """A record that RAM has not kept is taken from the memory."""
    if not kept:
        totals = core.noinit.totals = Totals()
        totals.take(record_newest(PLACE_SIZE, STORE_TOTALS_AT, 2, core.eeprom)[:-1])
        totals.number = (totals.number + 1) & _U16_MAX


def totals_tick(core: Twin, index: int) -> None:
    """Behind axis_tick, in a tick with output."""
    totals, axis = core.noinit.totals, core.axis[index]
    total = totals.axis[index]
    um = axis.position_um & _U16_MAX
    went = (um - totals.um[index] + 0x8000 & _U16_MAX) - 0x8000
    totals.changed = 1
    if axis.on_ticks == 1:
        totals.um[index] = um
        total.starts = (total.starts + 1) & _U32_MAX
        blackbox_motion(core)
    elif abs(went) >= (MM + axis.position.noise_um) & _U16_MAX:
        totals.um[index] = (totals.um[index] + (-MM if went < 0 else MM)) & _U16_MAX
        total.travel_mm = (total.travel_mm + 1) & _U32_MAX
    totals.ticks[index] += 1
    if totals.ticks[index] == TICKS_PER_S:
        totals.ticks[index] = 0
        total.on_s = (total.on_s + 1) & _U32_MAX


def totals_due(core: Twin) -> tuple[int, bytes] | None:
    """Place and bytes of the record to write."""
    totals = core.noinit.totals
    if totals.pause:
        totals.pause -= core.ticks & 1
        return None
    due = totals.changed and core.at_rest()
    return (_place_of(totals.number), record_seal(totals.record())) if due else None


def totals_written(core: Twin) -> None:
    """The record has ended, good or not."""
    totals = core.noinit.totals
    totals.number = (totals.number + 1) & _U16_MAX
    totals.changed = 0
    totals.pause = PAUSE
