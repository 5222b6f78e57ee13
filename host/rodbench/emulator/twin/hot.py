"""What duty and heat have come to, kept through a power loss: the hot record. Sibling of hot.c."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rodbench_protocol.names import ResetCause, Status

from rodbench.emulator.twin.duty import duty_begin, duty_resume, duty_used
from rodbench.emulator.twin.store import STORE_HOT_AT, record_newest, record_seal
from rodbench.emulator.twin.thermal import thermal_rest

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

PLACES = 17
UNIT = 32
LEAD = 64
AHEAD = 6016
HEAT_BITS = 24
HEAT_AHEAD = 6
HEAT_ENOUGH = 200
LOWERS, RAISES = 1, 2
_RECORD = struct.Struct("<HHBHB")  # and the check byte
PLACE_SIZE = _RECORD.size + 1
_U16_MAX = 0xFFFF
AXES = 2


class Hot:
    """hot_t, the record in its parts."""

    __slots__ = ("cover", "heat", "number", "used", "writing")

    def __init__(self) -> None:
        self.number = 0
        self.used = [0, 0]
        self.heat = [0, 0]
        self.cover = 0
        self.writing = 0

    def record(self) -> bytes:
        """As written."""
        one, two = zip(self.used, self.heat, strict=True)
        return record_seal(_RECORD.pack(self.number, *one, *two))


def _take_up(core: Twin, off_s: int) -> None:
    """All that the record tells was spent so long ago."""
    hot, noinit = core.hot, core.noinit
    for index in range(AXES):
        settings = core.live.scope[index + 1]
        duty_begin(noinit.duty[index], settings, hot.used[index] * UNIT, off_s)
        heat = hot.heat[index] * ((1 << HEAT_BITS) - 1)
        noinit.heat[index] = thermal_rest(heat, settings, off_s)


def hot_start(core: Twin, kept: bool) -> None:
    """Duty and heat that RAM has not kept: from the newest record in the memory."""
    hot = core.hot
    found = record_newest(PLACE_SIZE, STORE_HOT_AT, PLACES, core.eeprom)
    hot.number, hot.used[0], hot.heat[0], hot.used[1], hot.heat[1] = _RECORD.unpack(found[:-1])
    hot.number = (hot.number + 1) & _U16_MAX
    if kept:
        for index in range(AXES):
            duty_resume(core.noinit.duty[index], core.live.scope[index + 1])
        return
    core.noinit.credit = True
    if not any(found) and core.reset_cause > ResetCause.POWER_ON:
        hot.used = [_U16_MAX, _U16_MAX]
    _take_up(core, 0)


def _heat_of(core: Twin, index: int) -> int:
    return (core.noinit.heat[index] >> HEAT_BITS) + 1


def hot_tick(core: Twin) -> None:
    """Before the axes' own tick: begins a record where one is needed."""
    hot = core.hot
    if hot.writing:
        return
    more = warmer = 0
    if core.at_rest():
        if hot.cover >= LEAD and core.ticks & 0x1FFFF != 0x10000:
            return
        hot.writing = LOWERS
    else:
        cool = all(_heat_of(core, index) < hot.heat[index] for index in range(AXES))
        if hot.cover > LEAD and cool:
            return
        more, warmer = AHEAD // UNIT, HEAT_AHEAD
        hot.writing = RAISES
        core.noinit.credit = False
    hot.cover = min(hot.cover, LEAD)
    for index in range(AXES):
        used = duty_used(core.noinit.duty[index])
        hot.used[index] = ((used + LEAD + UNIT - 1) // UNIT + more) & _U16_MAX
        heat = _heat_of(core, index)
        hot.heat[index] = heat + warmer if heat < HEAT_ENOUGH else heat


def hot_due(core: Twin) -> tuple[int, bytes] | None:
    """Place and bytes of the record to write."""
    hot = core.hot
    if not hot.writing:
        return None
    return STORE_HOT_AT + hot.number % PLACES * PLACE_SIZE, hot.record()


def hot_written(core: Twin, good: bool) -> None:
    """The record has ended; what a place does not take goes to the next."""
    hot = core.hot
    hot.number = (hot.number + 1) & _U16_MAX
    if good:
        hot.cover = AHEAD if hot.writing == RAISES else LEAD
        hot.writing = 0


def hot_credit(core: Twin, off_s: int) -> int:
    """Off-time told by the host."""
    if not core.noinit.credit:
        return Status.NOTHING_KEPT
    core.noinit.credit = False
    _take_up(core, off_s & _U16_MAX if off_s >= 1 << 31 else min(off_s, _U16_MAX))
    return Status.OK
