"""Every setting of a machine file with its unit, what it is by default, and what it is for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rodbench.settings.keys import Key, Value, keys_of
from rodbench.settings.machine import MachineFile
from rodbench.settings.units import Units

_TITLES = {
    "board": "Board",
    "gang": "Two rods as one",
    "rods": "Rod: goes with it to any axis",
    "axes": "Axis: driver and sensor",
    "limits": "Limits of this machine",
    "local": "Without a computer",
}
_WIRE_SCALE = re.compile(r", times \d+|, 65535 being the whole stroke")
NO_BREAK = "\u00a0"  # between a number and its unit
_RATES = {"mm": "", "mm/s": "/s", "mm/s2": "/s2"}


@dataclass(frozen=True, slots=True)
class Cell:
    """A value, and whether it is other than the default."""

    text: str
    set: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A setting: a cell for the board or for each axis."""

    name: str
    cells: Sequence[Cell]
    default: str
    doc: str


@dataclass(frozen=True, slots=True)
class Group:
    """The settings of one table."""

    title: str
    heads: Sequence[str]
    rows: Sequence[Row]


def groups(machine: MachineFile, units: Units) -> tuple[list[Group], list[str]]:
    """The tables, and sentences about those that would say nothing."""
    board, axes = machine.scope(0), {axis: machine.scope(axis) for axis in machine.axes}
    found = [_group(machine, "board", {"board": board}, units)]
    left_out = []
    if board["apart_trip_um"]:
        found.append(_group(machine, "gang", {"both": board}, units))
    else:
        left_out.append("The two axes are not ganged.")
    if not axes:
        return found, left_out
    heads = {f"axis {axis}": values for axis, values in axes.items()}
    found += [_group(machine, table, heads, units) for table in ("rods", "axes", "limits")]
    if any(values["local_source"] for values in axes.values()):
        found.append(_group(machine, "local", heads, units))
    else:
        left_out.append("No local input commands an axis.")
    return found, left_out


def _group(
    machine: MachineFile, table: str, scopes: Mapping[str, Mapping[str, int]], units: Units
) -> Group:
    keys = [key for key in keys_of(table, machine.board_kind) if key.wire]
    rows = [_row(key, list(scopes.values()), units) for key in keys]
    return Group(_TITLES[table], list(scopes), rows)


def _row(key: Key, scopes: Sequence[Mapping[str, int]], units: Units) -> Row:
    assert key.wire is not None
    usual = int(key.default or 0)
    numbers = [values[key.wire] for values in scopes]
    cells = [Cell(value_words(key, number, units), number != usual) for number in numbers]
    default = value_words(key, usual, units) if any(cell.set for cell in cells) else ""
    return Row(key.name, cells, default, _doc(key))


def _doc(key: Key) -> str:
    """What the schema says of the wire's integer, said of the file's value."""
    said = _WIRE_SCALE.sub("", key.doc)
    if key.kind != "bool":
        return said
    return re.sub(r"\b[01](?=:)", lambda found: "yes" if found[0] == "1" else "no", said)


def value_words(key: Key, wire: int, units: Units) -> str:
    """A setting's value as exactly as the file would have it, in the units of the screen."""
    return _said(key, key.to_file(wire), units).replace(" ", NO_BREAK)


def _said(key: Key, value: Value, units: Units) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if key.unit in _RATES:
        return f"{units.value(float(value)):.7g} {units.name}{_RATES[key.unit]}"
    return f"{value:.10g} {key.unit}".rstrip()
