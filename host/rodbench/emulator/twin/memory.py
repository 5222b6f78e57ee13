"""What goes into non-volatile memory: at most one byte in a tick, for one of its clients.

Clients in their order: hot record, trips, totals, settings. Each record is written with its check
byte spoilt first and set last.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import EventKind

from rodbench.emulator.twin.event import event_board
from rodbench.emulator.twin.hot import hot_due, hot_written
from rodbench.emulator.twin.store import (
    RECORD_SPOILT,
    STORE_FAILED,
    STORE_IDLE,
    STORE_TOTALS_AT,
    STORE_TRIPS_AT,
    store_tick,
)
from rodbench.emulator.twin.totals import totals_due, totals_written
from rodbench.emulator.twin.trips import trips_due, trips_written

if TYPE_CHECKING:
    from rodbench.emulator.signals import Outputs
    from rodbench.emulator.twin.core import Twin

TRIES_MOST = 40
LOW_MV = 4400


class Memory:
    """How far a record is written: its place, 0 for none, and the bytes begun for it."""

    __slots__ = ("at", "tries")

    def __init__(self) -> None:
        self.at = 0
        self.tries = 0


def _ended(core: Twin, good: bool) -> None:
    if core.memory.at >= STORE_TRIPS_AT:
        trips_written(core)
    elif core.memory.at < STORE_TOTALS_AT:
        hot_written(core, good)
    else:
        totals_written(core)
    core.memory.at = 0


def _write_record(core: Twin, at: int, record: bytes, out: Outputs) -> None:
    memory = core.memory
    if memory.at != at:
        memory.at = at
        memory.tries = 0
    size = len(record)
    place = next((n for n in range(size) if core.eeprom[at + n] != record[n]), size)
    if place == size or memory.tries == TRIES_MOST:
        _ended(core, place == size)
        return
    value = record[place]
    memory.tries += 1
    if memory.tries == 1:
        place, value = size - 1, RECORD_SPOILT
    out.ee_write, out.ee_address, out.ee_value = 1, at + place, value


def _write_settings(core: Twin, out: Outputs) -> None:
    said, out.ee_address, out.ee_value = store_tick(core.store, core.live, core.eeprom)
    out.ee_write = int(out.ee_address != 0)
    if said != STORE_IDLE:
        event_board(core, EventKind.STORED, int(said == STORE_FAILED), core.store.generation)


def memory_tick(core: Twin, out: Outputs) -> None:
    """The byte of this tick."""
    if not core.ee_ready or (core.live.board.board_5v_mv and core.board_5v_mv < LOW_MV):
        return
    record = hot_due(core) or trips_due(core) or totals_due(core)
    if record:
        _write_record(core, *record, out)
    else:
        core.memory.at = 0
        _write_settings(core, out)
