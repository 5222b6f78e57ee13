"""Settings in non-volatile memory: two slots, written in turn, one byte per tick."""

from __future__ import annotations

import struct
import zlib
from binascii import crc_hqx
from types import SimpleNamespace
from typing import Any

from rodbench_protocol.settings import KEYS

STORE_SLOT_AT = 1
STORE_SLOT_SIZE = 328
STORE_HOT_AT = 657
STORE_TOTALS_AT = 817
STORE_TRIPS_AT = 873
STORE_FORMAT = 1
RECORD_SPOILT = 0xFF
STORE_BLANK = 0xFF
STORE_LOADED, STORE_NOTHING, STORE_DAMAGED = range(3)
STORE_IDLE, STORE_GOOD, STORE_FAILED = range(3)
SLOT_FORMAT, SLOT_CRC, SLOT_GENERATION, SLOT_BOARD_SIZE, SLOT_AXIS_SIZE, SLOT_DATA = (
    0,
    1,
    5,
    7,
    8,
    9,
)

KINDS = ("board", "axis", "axis")
"""Kind of each scope: board, axis 1, axis 2."""
_CODES = {"u8": "B", "u16": "H", "u32": "I", "i32": "i"}
_NAMES = {kind: tuple(key.name for key in keys) for kind, keys in KEYS.items()}
_LAYOUTS = {
    kind: struct.Struct("<" + "".join(_CODES[key.setting.type] for key in keys))
    for kind, keys in KEYS.items()
}
SCOPE_SIZE = {kind: layout.size for kind, layout in _LAYOUTS.items()}
BOARD_SIZE, AXIS_SIZE = SCOPE_SIZE["board"], SCOPE_SIZE["axis"]
SLOT_END = SLOT_DATA + BOARD_SIZE + 2 * AXIS_SIZE


class Scope(SimpleNamespace):
    """The settings of one scope: an attribute for each key, arrays as name_1, name_2 ..."""


def scope_to_bytes(kind: str, scope: Scope) -> bytes:
    """As digested and stored."""
    values = vars(scope)
    return _LAYOUTS[kind].pack(*(values[name] for name in _NAMES[kind]))


def scope_from_bytes(kind: str, data: bytes) -> Scope:
    """Undo scope_to_bytes."""
    return Scope(**dict(zip(_NAMES[kind], _LAYOUTS[kind].unpack(data), strict=True)))


class Settings:
    """All settings: `scope[0]` the board's, `scope[1]` and `scope[2]` the axes'."""

    __slots__ = ("scope",)

    def __init__(self) -> None:
        self.scope = [Scope(), Scope(), Scope()]

    @property
    def board(self) -> Any:
        """The board's scope."""
        return self.scope[0]

    def to_bytes(self) -> bytes:
        """All scopes in order."""
        return b"".join(
            scope_to_bytes(kind, scope) for kind, scope in zip(KINDS, self.scope, strict=True)
        )

    def digest(self) -> int:
        """CRC-32 over all scopes."""
        return zlib.crc32(self.to_bytes())


class Store:
    """State of the store: what is stored, and how far a write has come."""

    __slots__ = (
        "check_address",
        "check_value",
        "data",
        "digest",
        "generation",
        "place",
        "slot",
        "writing",
    )

    def __init__(self) -> None:
        self.data = b""
        self.digest = 0
        self.generation = 0
        self.place = 0
        self.check_address = 0
        self.check_value = 0
        self.slot = 0
        self.writing = 0


def _slot_at(slot: int) -> int:
    return STORE_SLOT_AT + slot * STORE_SLOT_SIZE


def _check_of(record: bytes) -> int:
    check = crc_hqx(record, 0xFFFF) & 0xFF
    return 0 if check == RECORD_SPOILT else check


def record_seal(record: bytes) -> bytes:
    """The record with its check byte behind it."""
    return record + bytes((_check_of(record),))


def record_get(size: int, at: int, eeprom: bytearray) -> bytes | None:
    """The record at `at`, `size` with its check byte; None when it does not count."""
    record = bytes(eeprom[at : at + size])
    return record if record[-1] == _check_of(record[:-1]) else None


def record_newest(size: int, at: int, places: int, eeprom: bytearray) -> bytes:
    """The newest of the records from `at` on, by the number that they begin with; or all 0."""
    newest = None
    for place in range(places):
        found = record_get(size, at + place * size, eeprom)
        if found is None:
            continue
        if newest is None or 0 < (record_number(found) - record_number(newest)) & 0xFFFF < 0x8000:
            newest = found
    return newest or bytes(size)


def record_number(record: bytes) -> int:
    """The number that a record begins with."""
    return int.from_bytes(record[:2], "little")


def settings_defaults(settings: Settings) -> None:
    """Every key at its default."""
    settings.scope = [
        Scope(**{key.name: key.setting.default for key in KEYS[kind]}) for kind in KINDS
    ]


def _slot_state(slot: int, eeprom: bytearray) -> int:
    at = _slot_at(slot)
    if eeprom[at] != STORE_FORMAT:
        return STORE_NOTHING if eeprom[at] == STORE_BLANK else STORE_DAMAGED
    size = eeprom[at + SLOT_BOARD_SIZE] + 2 * eeprom[at + SLOT_AXIS_SIZE]
    if size > STORE_SLOT_SIZE - SLOT_DATA:
        return STORE_DAMAGED
    crc = zlib.crc32(eeprom[at + SLOT_GENERATION : at + SLOT_DATA + size])
    stored = int.from_bytes(eeprom[at + SLOT_CRC : at + SLOT_GENERATION], "little")
    return STORE_LOADED if crc == stored else STORE_DAMAGED


def _generation(slot: int, eeprom: bytearray) -> int:
    at = _slot_at(slot) + SLOT_GENERATION
    return int.from_bytes(eeprom[at : at + 2], "little")


def _read_slot(settings: Settings, slot: int, eeprom: bytearray) -> None:
    at = _slot_at(slot)
    board, axis = eeprom[at + SLOT_BOARD_SIZE], eeprom[at + SLOT_AXIS_SIZE]
    at += SLOT_DATA
    for number, (kind, stored) in enumerate(zip(KINDS, (board, axis, axis), strict=True)):
        data = bytearray(scope_to_bytes(kind, settings.scope[number]))
        known = min(stored, len(data))
        data[:known] = eeprom[at : at + known]
        settings.scope[number] = scope_from_bytes(kind, bytes(data))
        at += stored


def store_load(store: Store, settings: Settings, eeprom: bytearray) -> int:
    """Settings, or defaults, into `settings`."""
    states = [_slot_state(slot, eeprom) for slot in (0, 1)]
    settings_defaults(settings)
    if STORE_LOADED not in states:
        store.slot = 1  # so that the first store goes to slot 0
        return STORE_DAMAGED if STORE_DAMAGED in states else STORE_NOTHING
    generations = [_generation(slot, eeprom) for slot in (0, 1)]
    newer_1 = (generations[1] - generations[0]) & 0xFFFF < 0x8000
    store.slot = int(states[0] != STORE_LOADED or (states[1] == STORE_LOADED and newer_1))
    store.generation = generations[store.slot]
    _read_slot(settings, store.slot, eeprom)
    store.digest = settings.digest()
    return STORE_LOADED


def store_begin(store: Store, settings: Settings) -> int:
    """Begin to write; settings must not change until it ended. Returns the generation."""
    generation = (store.generation + 1) & 0xFFFF
    store.writing = 1
    store.place = SLOT_DATA
    store.check_address = 0
    covered = struct.pack("<HBB", generation, BOARD_SIZE, AXIS_SIZE) + settings.to_bytes()
    store.data = struct.pack("<BI", STORE_FORMAT, zlib.crc32(covered)) + covered
    return generation


def _store_end(store: Store, settings: Settings, good: bool) -> int:
    store.writing = 0
    if not good:
        return STORE_FAILED
    store.slot ^= 1
    store.generation = (store.generation + 1) & 0xFFFF
    store.digest = settings.digest()
    return STORE_GOOD


def _place_after(place: int) -> int:
    if place >= SLOT_DATA:
        return place + 1 if place + 1 < SLOT_END else SLOT_DATA - 1
    return place - 1


def store_tick(store: Store, settings: Settings, eeprom: bytearray) -> tuple[int, int, int]:
    """One step: (STORE_..., address to write or 0, value)."""
    if not store.writing:
        return STORE_IDLE, 0, 0
    if store.check_address and eeprom[store.check_address] != store.check_value:
        return _store_end(store, settings, False), 0, 0
    if store.writing == 2:
        return _store_end(store, settings, True), 0, 0
    at = _slot_at(store.slot ^ 1) + store.place
    byte = store.data[store.place]
    store.check_address, store.check_value = at, byte
    if store.place == SLOT_FORMAT:
        store.writing = 2
    store.place = _place_after(store.place)
    return (STORE_IDLE, at, byte) if eeprom[at] != byte else (STORE_IDLE, 0, 0)
