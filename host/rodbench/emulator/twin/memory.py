"""What goes into non-volatile memory: at most one byte in a tick, for one of its clients.

Clients in their order: hot record, trips, totals, settings. Each record is written with its check
byte spoilt first and set last.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import EventKind

from rodbench.emulator.twin.event import event_board
from rodbench.emulator.twin.store import (
    RECORD_SPOILT,
    STORE_FAILED,
    STORE_IDLE,
    STORE_TRIPS_AT,
    record_check,
    store_tick,
)
from rodbench.emulator.twin.totals import totals_due, totals_written
from rodbench.emulator.twin.trips import trips_due, trips_written

if TYPE_CHECKING:
    from rodbench.emulator.signals import Outputs
    from rodbench.emulator.twin.core import Twin

LOW_MV = 4400


class Memory:
    """How far a record is written: its place, 0 for none, and the byte begun last."""

    __slots__ = ("at", "step")

    def __init__(self) -> None:
        self.at = 0
        self.step = 0


def _byte_of(at: int, data: bytes, step: int) -> tuple[int, int]:
    """Address and value: step 1 spoils the check byte, then the bytes, then the check byte."""
    place = len(data) if step == 1 else step - 2
    if place < len(data):
        return at + place, data[place]
    return at + place, RECORD_SPOILT if step == 1 else record_check(data)


def _ended(core: Twin, good: bool) -> None:
    if core.memory.at >= STORE_TRIPS_AT:
        trips_written(core)
    else:
        totals_written(core, good)
    core.memory.at = 0


def _write_record(core: Twin, at: int, data: bytes, out: Outputs) -> None:
    memory = core.memory
    if memory.at != at:
        memory.at = at
        memory.step = 0
    else:
        address, value = _byte_of(at, data, memory.step)
        good = core.eeprom[address] == value
        if not good or memory.step == len(data) + 2:
            _ended(core, good)
            return
    memory.step += 1
    address, value = _byte_of(at, data, memory.step)
    if core.eeprom[address] != value:
        out.ee_write, out.ee_address, out.ee_value = 1, address, value


def _write_settings(core: Twin, out: Outputs) -> None:
    said, out.ee_address, out.ee_value = store_tick(core.store, core.live, core.eeprom)
    out.ee_write = int(out.ee_address != 0)
    if said != STORE_IDLE:
        event_board(core, EventKind.STORED, int(said == STORE_FAILED), core.store.generation)


def memory_tick(core: Twin, out: Outputs) -> None:
    """The byte of this tick."""
    if not core.ee_ready or (core.live.board.board_5v_mv and core.board_5v_mv < LOW_MV):
        return
    record = trips_due(core) or totals_due(core)
    if record:
        _write_record(core, *record, out)
    else:
        core.memory.at = 0
        _write_settings(core, out)
