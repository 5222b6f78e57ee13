"""The text of a lid card's code: all settings of a machine, and what a machine file needs besides.

CARD.md beside this file describes the bytes. Reading trusts nothing: check sum, lengths, ranges,
cross rules and the digest all have to hold, else it refuses.
"""

from __future__ import annotations

import binascii
import zlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from struct import Struct
from struct import error as StructError

from rodbench_protocol.schema import BoardKindData, load_schema
from rodbench_protocol.settings import defaults, pack_scope, unpack_scope

from rodbench.errors import SettingsError
from rodbench.settings import base45
from rodbench.settings.keys import Value, all_keys, kind_named
from rodbench.settings.lines import Place
from rodbench.settings.machine import MachineFile

MAGIC = "RODBENCH"
VERSION = 1
# Keys that stay in the machine file, by their number on a card. Append only.
NUMBERS: dict[int, tuple[str, str]] = {
    1: ("", "name"),
    2: ("", "show_units"),
    3: ("board", "fuse_a"),
    4: ("board", "supply_rated_a"),
    5: ("board", "supply_wire_length_m"),
    6: ("board", "motor_wire_mm2"),
    7: ("board", "motor_wire_awg"),
    8: ("board", "wire_drop_max"),
    9: ("board", "ambient_c"),
    10: ("axes", "rod"),
    11: ("axes", "learned_with"),
    12: ("axes", "learned_on_board"),
    13: ("axes", "driver_continuous_a"),
    14: ("axes", "driver_peak_a"),
    15: ("axes", "motor_wire_length_m"),
    20: ("rods", "retracted_pin_to_pin_mm"),
    21: ("rods", "end_retracted"),
    22: ("rods", "end_extended"),
    23: ("rods", "endpoint_spread_mm"),
    24: ("rods", "label"),
    25: ("rods", "rated_supply_v"),
    26: ("rods", "pot_ohm"),
    30: ("limits", "working_end_min_mm"),
    31: ("limits", "working_end_max_mm"),
    40: ("linkage", "hinge_to_frame_pin_mm"),
    41: ("linkage", "hinge_to_vent_pin_mm"),
    42: ("linkage", "closed_at_mm"),
    43: ("linkage", "opens_by"),
    60: ("proof", "from"),
    61: ("proof", "to"),
    62: ("proof", "runs"),
    63: ("proof", "find_ends"),
    64: ("proof", "cycles"),
    65: ("proof", "time_extend_s"),
    66: ("proof", "time_retract_s"),
    67: ("proof", "speed_extend_mm_s"),
    68: ("proof", "speed_retract_mm_s"),
    69: ("proof", "current_peak_a"),
    70: ("proof", "current_mean_a"),
    71: ("proof", "off_mm"),
    72: ("proof", "overshoot_mm"),
    73: ("proof", "duty_share"),
    74: ("proof", "supply_sag_v"),
    75: ("proof", "ends_off_mm"),
}
ROD = 10
POSITION = 50  # `open = 30 deg`: the name up to the first " = "
# Said otherwise: the kind in the head, a gang's axes by an apart_trip that is not 0, the points of
# a linearity table by its settings.
ELSEWHERE = {("board", "kind"), ("gang", "axes"), ("rods", "pot_table")}
# Least needed first: what goes when a code would become too dense to survive.
_SPARE: dict[str, Collection[int]] = {
    "proof": range(60, 76),
    "label": (24,),
    "endpoint_spread_mm": (23,),
    "end_retracted, end_extended": (21, 22),
    "positions": (POSITION,),
}

_HEAD = Struct("<BBBHI")  # protocol major, minor, board kind, days, digest
_SIZE = Struct("<H")
_ENTRY = Struct("<BBH")  # number, place, bytes of text
_DAY_0 = date(2000, 1, 1)
_DIGITS = 6
_MOST_BYTES = 16_000  # unpacked; a code holds a few hundred
KEPT = "Nothing was written."
_DAMAGED = "the card's code is damaged"
_AGAIN = "Photograph it again, nearer and flatter; else take another copy of the card."


@dataclass(frozen=True, slots=True)
class Entry:
    """A key of the machine file: its number, 0 for the machine or the axis that it is of."""

    number: int
    place: int
    text: str


@dataclass(frozen=True, slots=True)
class Card:
    """What a card's code holds: wire integers by scope, and what else the machine file says.

    `digest` is that of the settings as the card's maker reckoned it, `minor` its schema's."""

    kind: str
    made: date
    digest: int
    scopes: Mapping[int, Mapping[str, int]]
    entries: tuple[Entry, ...]
    minor: int = field(default_factory=lambda: int(load_schema().protocol["minor"]))

    @property
    def rods(self) -> dict[int, str]:
        """Name of the rod on each axis that has one."""
        return {entry.place: entry.text for entry in self.entries if entry.number == ROD}

    def lighter(self) -> tuple[Card, str] | None:
        """This card without the entries that are least needed, and what they are; None where
        nothing can be spared."""
        for name, numbers in _SPARE.items():
            rest = tuple(entry for entry in self.entries if entry.number not in numbers)
            if len(rest) < len(self.entries):
                return replace(self, entries=rest), name
        return None


def of_machine(machine: MachineFile, made: date) -> Card:
    """The card of a machine file; rods that are on no axis are left out."""
    entries = (*_entries(machine), *_positions(machine))
    return Card(machine.board_kind, made, machine.digest(), machine.scopes(), entries)


def _entries(machine: MachineFile) -> Iterator[Entry]:
    for number, (table, name) in NUMBERS.items():
        for place, path in _places(machine, table):
            if machine.says(name, path):
                yield Entry(number, place, _said(machine.host(name, path)))


def _said(value: Value | None) -> str:
    """A length in inches is not quite so many mm: as many digits as anybody measures."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(round(value, _DIGITS)) if isinstance(value, float) else str(value)


def _positions(machine: MachineFile) -> Iterator[Entry]:
    for name, named in machine.positions.items():
        yield Entry(POSITION, 0, f"{name} = {named.place.text}")


def _places(machine: MachineFile, table: str) -> list[tuple[int, Place]]:
    """Where a table of this kind may stand: 0 for the machine or the axis, and its path."""
    if table in ("", "board"):
        return [(0, (table,) if table else ())]
    own = [(axis, _path(table, axis, machine.rod_of(axis) or "")) for axis in machine.axes]
    return [(0, (table,)), *own] if table in ("linkage", "proof") else own


def _path(table: str, axis: int, rod: str) -> Place:
    if table == "rods":
        return ("rods", rod)
    return ("axes", str(axis)) if table == "axes" else ("axes", str(axis), table)


# ---------------------------------------------------------------- text


def to_text(card: Card) -> str:
    """The card's code, in the characters of a QR code's alphanumeric mode."""
    packed = _deflated(_payload(card))
    begin = f"{MAGIC}/{VERSION}/"
    check = binascii.crc32(begin.encode() + packed)
    return begin + base45.encode(check.to_bytes(4, "little") + packed)


def from_text(text: str) -> Card:
    """The card of a code. Raises SettingsError where it is none, damaged, or of a newer version."""
    packed = _checked(text.strip("\r\n"))
    try:
        return _read(_inflated(packed))
    except (StructError, UnicodeDecodeError, OverflowError, zlib.error) as error:
        raise _refusal(f"{_DAMAGED}: its parts do not fit together ({error})", _AGAIN) from None


def _checked(text: str) -> bytes:
    """The packed bytes behind magic, version and check sum."""
    magic, _, rest = text.partition("/")
    version, slash, coded = rest.partition("/")
    if magic != MAGIC or not slash:
        raise _refusal("this code is not one of a rodbench card", "The card's own code, please.")
    if version != str(VERSION):
        raise _newer(f"card version {version[:12]}; this one reads version {VERSION}")
    try:
        data = base45.decode(coded)
    except ValueError as error:
        raise _refusal(f"{_DAMAGED}: {error}", _AGAIN) from None
    begin = f"{MAGIC}/{VERSION}/".encode()
    if len(data) < 4 or int.from_bytes(data[:4], "little") != binascii.crc32(begin + data[4:]):
        raise _refusal(f"{_DAMAGED}: its check sum is wrong", _AGAIN)
    return data[4:]


def _deflated(data: bytes) -> bytes:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    return packer.compress(data) + packer.flush()


def _inflated(packed: bytes) -> bytes:
    unpacker = zlib.decompressobj(-15)
    data = unpacker.decompress(packed, _MOST_BYTES)
    if unpacker.unconsumed_tail or not unpacker.eof or unpacker.unused_data:
        raise zlib.error("it does not unpack")
    return data


# ---------------------------------------------------------------- bytes


def _payload(card: Card) -> bytes:
    protocol = load_schema().protocol
    kind = kind_named(card.kind)
    days = (card.made - _DAY_0).days
    parts = [_HEAD.pack(protocol["major"], card.minor, kind.id, days, card.digest)]
    for scope in sorted(card.scopes):
        data = _from_defaults(scope, pack_scope(_kind(scope), card.scopes[scope]))
        parts += [_SIZE.pack(len(data)), data]
    for entry in card.entries:
        text = entry.text.encode()
        parts += [_ENTRY.pack(entry.number, entry.place, len(text)), text]
    return b"".join(parts)


def _read(data: bytes) -> Card:
    schema = load_schema()
    major, minor, kind_id, days, digest = _HEAD.unpack_from(data)
    ours = schema.protocol
    if major != ours["major"] or minor > ours["minor"]:
        raise _newer(f"settings of {major}.{minor}; this one knows {ours['major']}.{ours['minor']}")
    kind = next((k for k in schema.board_kinds.values() if k.id == kind_id), None)
    if kind is None:
        raise _newer(f"a board of kind number {kind_id}, which this one does not know")
    scopes, at = _scopes(data, kind, digest)
    made = _DAY_0 + timedelta(days=days)
    return Card(kind.word, made, digest, scopes, tuple(_read_entries(data, at, kind)), minor)


def _scopes(data: bytes, kind: BoardKindData, digest: int) -> tuple[dict[int, dict[str, int]], int]:
    """The values of each scope, and where the next part begins. Keys that the card's maker did
    not know yet take their defaults."""
    at, whole, scopes = _HEAD.size, b"", {}
    for scope in range(1 + kind.axes):
        (size,) = _SIZE.unpack_from(data, at)
        part = data[at + _SIZE.size : at + _SIZE.size + size]
        at += _SIZE.size + size
        if at > len(data):
            raise StructError("a scope's length")
        if size > len(_default_bytes(scope)):
            raise _newer("settings that this one does not know")
        packed = _from_defaults(scope, part)
        whole += packed
        scopes[scope] = unpack_scope(_kind(scope), packed + _default_bytes(scope)[size:])
    if binascii.crc32(whole) != digest:
        raise _refusal(f"{_DAMAGED}: its settings are not those of its digest", _AGAIN)
    return scopes, at


def _read_entries(data: bytes, at: int, kind: BoardKindData) -> Iterator[Entry]:
    while at < len(data):
        number, place, size = _ENTRY.unpack_from(data, at)
        at += _ENTRY.size
        if at + size > len(data):
            raise StructError("a text's length")
        if number not in NUMBERS and number != POSITION:
            raise _newer(f"entry number {number}, which this one does not know")
        if place > kind.axes:
            raise StructError("an entry's place")
        yield Entry(number, place, data[at : at + size].decode())
        at += size


def _from_defaults(scope: int, data: bytes) -> bytes:
    """Exclusive or with the defaults: what is at its default packs to almost nothing. Done twice
    it gives back what it was done to."""
    return bytes(a ^ b for a, b in zip(data, _default_bytes(scope), strict=False))


def _default_bytes(scope: int) -> bytes:
    return pack_scope(_kind(scope), defaults(_kind(scope)))


def _kind(scope: int) -> str:
    return "axis" if scope else "board"


def _refusal(text: str, hint: str) -> SettingsError:
    return SettingsError(text, kept=KEPT, hint=hint)


def _newer(what: str) -> SettingsError:
    return _refusal(f"the card was made by another rodbench: {what}", "Take a newer rodbench.")


def value_of(number: int, text: str) -> Value:
    """An entry's text as the machine file's value. Raises ValueError, or KeyError."""
    table, name = NUMBERS[number]
    key = next(key for key in all_keys() if (key.table, key.name) == (table, name))
    if key.kind == "bool":
        return {"true": True, "false": False}[text]
    if key.kind != "number":
        return text
    return int(text) if text.isdecimal() else float(text)
