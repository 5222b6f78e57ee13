"""A machine file made from a card: what the card holds, and not a word more."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rodbench_protocol.settings import KEYS, defaults

from rodbench.errors import SettingsError
from rodbench.settings import pot_table
from rodbench.settings.card import KEPT, NUMBERS, POSITION, ROD, Card, Entry, value_of
from rodbench.settings.keys import by_wire, kind_named
from rodbench.settings.machine import MachineFile
from rodbench.settings.parse import VERSION

Table = dict[str, Any]
NOT_ON_A_CARD = (
    "A card holds no logbook, baseline, proofs or photos, no comments, and no rod that was on no "
    "axis: of those, a copy of the machine's folder is the only one."
)
_TABLES = ("board", "rods", "axes", "gang", "linkage", "positions", "proof")


def machine_file(card: Card, path: Path) -> MachineFile:
    """The machine file of a card, not saved. Raises SettingsError where it would not hold, or not
    mean what the card says."""
    try:
        machine = MachineFile(_text(card), path)
    except SettingsError as error:
        raise _contradicts(error.message) from None
    except (KeyError, ValueError) as error:
        raise _contradicts(f"an entry that belongs to nothing ({error})") from None
    if machine.scopes() != card.scopes:
        raise _contradicts("settings that a machine file has no place for")
    return machine


def _contradicts(why: str) -> SettingsError:
    return SettingsError(
        f"what the card holds does not make a machine file:\n{why}",
        kept=KEPT,
        hint="It may be damaged, or made by another rodbench.",
    )


def _text(card: Card) -> str:
    import tomlkit

    head = (
        f"# From the card of {card.made.isoformat()}, settings {card.digest:08X}, by `rodbench "
        "settings restore`.\n"
    )
    return head + tomlkit.dumps(_document(card))


def _document(card: Card) -> Table:
    document: Table = {"machine_file": VERSION, **{table: {} for table in _TABLES}}
    document["board"]["kind"] = card.kind
    entries = sorted(card.entries, key=lambda entry: entry.number != ROD)  # the rods come first
    for entry in entries:
        _add(document, card, entry)
    for scope, values in card.scopes.items():
        _add_scope(document, card, scope, values)
    if card.scopes[0]["apart_trip_um"]:
        document["gang"] = {"axes": [1, 2], **document["gang"]}
    return {name: value for name, value in document.items() if value != {}}


def _add(document: Table, card: Card, entry: Entry) -> None:
    if entry.number == POSITION:
        name, _, place = entry.text.partition(" = ")
        document["positions"][name] = place
        return
    table, name = NUMBERS[entry.number]
    _table(document, card, table, entry.place)[name] = value_of(entry.number, entry.text)


def _table(document: Table, card: Card, table: str, place: int) -> Table:
    """Where keys of a table kind go, for the machine (0) or an axis. Raises KeyError."""
    if not table:
        return document
    if not place or table == "rods":
        where: Table = document[table]
        return where.setdefault(card.rods[place], {}) if place else where
    axis: Table = document["axes"].setdefault(str(place), {})
    return axis if table == "axes" else axis.setdefault(table, {})


def _add_scope(document: Table, card: Card, scope: int, values: Mapping[str, int]) -> None:
    """Those settings that are not at their defaults, and those that a file must have."""
    kind = "axis" if scope else "board"
    left_out = defaults(kind)
    if scope in card.rods:
        left_out["feedback"] = 1  # of a rod that is there, unless the file says otherwise
        left_out.pop("stroke_um")
        if values["table_points"]:
            scale = kind_named(card.kind).adc_full_scale
            points = json.loads(pot_table.to_toml(values, scale))
            _table(document, card, "rods", scope)[pot_table.NAME] = points
        left_out |= {wire: values[wire] for wire in pot_table.WIRES}
    for wire in (key.name for key in KEYS[kind]):
        key = by_wire(card.kind).get((kind, wire))
        if values[wire] == left_out.get(wire):
            continue
        if key is None:
            raise KeyError(wire)
        _table(document, card, key.table, scope)[key.name] = key.to_file(values[wire])
