"""A machine file's text as checked values, each with the place where it was written."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from tomlkit.exceptions import ParseError, TOMLKitError

from rodbench.settings import faults, pot_table
from rodbench.settings.faults import Finding
from rodbench.settings.keys import FIRST_KIND, Key, Value, by_place, kind_named
from rodbench.settings.lines import Place, decimal_commas, doubles, line_map, line_of, without_value
from rodbench.settings.positions import Place as PlaceOnRod
from rodbench.settings.positions import read_place, wrong_name
from rodbench.settings.quantity import QuantityError, convert

VERSION = 1
_OWN_TABLES = {"machine_file", "board", "rods", "axes", "gang", "linkage", "positions", "proof"}
AXIS_TABLES = ("limits", "local", "linkage", "proof")


@dataclass(frozen=True, slots=True)
class Written:
    """A value in the unit of its key, and how it stands in the file."""

    key: Key
    path: Place
    name: str
    raw: Any
    value: Value
    line: int

    @property
    def said(self) -> str:
        """As the file writes it: `trip_a = 7.5`."""
        return f"{self.name} = {faults.shown(self.raw)}"


@dataclass(frozen=True, slots=True)
class Named:
    """A position with a name."""

    place: PlaceOnRod
    line: int


@dataclass(slots=True)
class Parsed:
    """All values by (table path, key name), names of rods and numbers of axes, and findings."""

    file: str
    lines: dict[Place, int]
    board_kind: str = FIRST_KIND
    values: dict[tuple[Place, str], Written] = field(default_factory=dict)
    rods: list[str] = field(default_factory=list)
    axes: list[int] = field(default_factory=list)
    positions: dict[str, Named] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def add(self, path: Place, text: str, hint: str = "") -> None:
        """One more thing that is wrong at `path`."""
        self.findings.append(Finding(self.file, line_of(self.lines, path), text, hint))

    def get(self, path: Place, name: str) -> Written | None:
        """The written value of a key, or None."""
        return self.values.get((path, name))

    def has(self, path: Place) -> bool:
        """Whether the file has this table."""
        return path in self.lines or any(at[: len(path)] == path for at in self.lines)


def parse(text: str, file: str) -> Parsed:
    """Read `text`; findings are collected, not raised, except where it is no TOML at all."""
    parsed = Parsed(file, line_map(text))
    document = document_of(text, parsed)
    if document is None:
        return parsed
    _version(parsed, document)
    parsed.board_kind = _board_kind(document)
    for path, kind, table in _tables(parsed, document):
        _table(parsed, path, kind, table)
    _positions(parsed, _as_table(parsed, ("positions",), document.get("positions", {})))
    return parsed


def document_of(text: str, parsed: Parsed) -> Mapping[str, Any] | None:
    """The tables of a TOML text, or None with findings."""
    try:
        return tomlkit.parse(text).unwrap()
    except ParseError as error:
        _not_toml(text, parsed, min(error.line, text.count("\n") + 1), error)
    except TOMLKitError as error:
        _not_toml(text, parsed, 1, error)
    return None


def _not_toml(text: str, parsed: Parsed, line: int, error: Exception) -> None:
    """The usual slips in our own words, else the parser's."""
    slips = [
        (number, f"{key} = {bad} is not TOML: a decimal comma. Write {good}.")
        for number, key, bad, good in decimal_commas(text)
    ]
    slips += [(number, f"{key} has no value.") for number, key in without_value(text)]
    slips += [
        (number, f"'{name}' stands here a second time (line {first}): keep one.")
        for number, name, first in doubles(text)
    ]
    for number, why in slips or [(line, f"this is not TOML: {_plain(error)}.")]:
        parsed.findings.append(Finding(parsed.file, number, why))


def _plain(error: Exception) -> str:
    text = str(error).split(" at line ")[0].rstrip(".")
    return text[:1].lower() + text[1:]


def _version(parsed: Parsed, document: Mapping[str, Any]) -> None:
    version = document.get("machine_file")
    if version is None:
        parsed.add((), "'machine_file = 1' is missing: the first line says which version this is.")
    elif version != VERSION or isinstance(version, bool):
        said = f"machine_file = {faults.shown(version)}"
        parsed.add(("machine_file",), f"{said}: this rodbench reads version {VERSION} only.")


def _board_kind(document: Mapping[str, Any]) -> str:
    """The kind of board that the shares of the file are of; a wrong word is found later."""
    board = document.get("board")
    kind = board.get("kind") if isinstance(board, Mapping) else None
    known = [word for word, _ in by_place()["board", "kind"].words]
    return kind if isinstance(kind, str) and kind in known else FIRST_KIND


def _tables(
    parsed: Parsed, document: Mapping[str, Any]
) -> Iterator[tuple[Place, str, Mapping[str, Any]]]:
    """Place, kind and content of every table that is known."""
    yield (), "", {k: v for k, v in document.items() if k not in _OWN_TABLES}
    for name in ("board", "gang", "linkage", "proof"):
        yield (name,), name, _as_table(parsed, (name,), document.get(name, {}))
    for name, rod in _as_table(parsed, ("rods",), document.get("rods", {})).items():
        parsed.rods.append(name)
        yield ("rods", name), "rods", _as_table(parsed, ("rods", name), rod)
    for number, axis in _as_table(parsed, ("axes",), document.get("axes", {})).items():
        if _is_axis(parsed, number):
            parsed.axes.append(int(number))
            yield from _axis_tables(parsed, ("axes", number), axis)


def _is_axis(parsed: Parsed, number: str) -> bool:
    have = kind_named(parsed.board_kind).axes
    if number in {str(axis) for axis in range(1, have + 1)}:
        return True
    said = "the board has axes 1 and 2"
    if have == 1:
        said = f'a board of kind = "{parsed.board_kind}" has axis 1 alone'
    parsed.add(("axes", number), f"axes.{number}: {said}.")
    return False


def _axis_tables(
    parsed: Parsed, path: Place, axis: Any
) -> Iterator[tuple[Place, str, Mapping[str, Any]]]:
    content = dict(_as_table(parsed, path, axis))
    parts = {name: content.pop(name) for name in AXIS_TABLES if name in content}
    yield path, "axes", content
    for name, part in parts.items():
        yield (*path, name), name, _as_table(parsed, (*path, name), part)


def _as_table(parsed: Parsed, path: Place, value: Any) -> Mapping[str, Any]:
    if isinstance(value, Mapping):
        return value
    parsed.add(path, f"'{'.'.join(path)}' is a table: write [{'.'.join(path)}] on its own line.")
    return {}


def _table(parsed: Parsed, path: Place, kind: str, table: Mapping[str, Any]) -> None:
    for name, raw in table.items():
        key = faults.known_bare(kind, name, parsed.board_kind)
        if key is None or (isinstance(raw, Mapping) and key.table == kind):
            parsed.add((*path, name), faults.unknown_key(kind, path, name, raw))
            continue
        twin = parsed.get(path, key.name)
        if twin is not None:
            both = f"{name} and {twin.name} (line {twin.line}) say the same thing: keep one."
            parsed.add((*path, name), both)
            continue
        value = _value(parsed, path, key, name, raw)
        if value is not None:
            line = line_of(parsed.lines, (*path, name))
            parsed.values[path, key.name] = Written(key, path, name, raw, value, line)


def _value(parsed: Parsed, path: Place, key: Key, name: str, raw: Any) -> Value | None:
    """The value in the key's unit, or None with a finding."""
    place = (*path, name)
    if key.kind == "word":
        if raw in dict(key.words) and isinstance(raw, str):
            return raw
        parsed.add(place, faults.wrong_word(key, raw))
        return None
    if key.kind == "number":
        return _number(parsed, place, key, name, raw)
    if key.kind == "axes":
        return _both_axes(parsed, place, raw)
    if key.kind == "points":
        return _points(parsed, place, raw)
    if isinstance(raw, bool if key.kind == "bool" else str):
        return raw
    parsed.add(place, faults.wrong_kind(key, name, raw))
    return None


def _both_axes(parsed: Parsed, place: Place, raw: Any) -> Value | None:
    if isinstance(raw, list) and raw in ([1, 2], [2, 1]) and bool not in map(type, raw):
        return "1 and 2"
    said = f"{place[-1]} = {faults.shown(raw)}"
    parsed.add(place, f"{said}: a gang is of the two axes. Write {place[-1]} = [1, 2].")
    return None


def _points(parsed: Parsed, place: Place, raw: Any) -> Value | None:
    text = pot_table.read(raw)
    if text is None:
        said = f"{place[-1]} = {faults.shown(raw)}"
        parsed.add(place, f"{said}: this is no table; {pot_table.MEANT}.")
    return text


def _positions(parsed: Parsed, table: Mapping[str, Any]) -> None:
    for name, raw in table.items():
        place = ("positions", name)
        said = f"{name} = {faults.shown(raw)}"
        if why := wrong_name(name):
            parsed.add(place, f"{said}: {why}.")
        elif not isinstance(raw, str):
            parsed.add(place, f"{said}: {faults.place_meant(name, raw)}")
        else:
            try:
                parsed.positions[name] = Named(read_place(raw), line_of(parsed.lines, place))
            except QuantityError as error:
                parsed.add(place, f"{said}: {error}. {faults.place_meant(name, raw)}")


def _number(parsed: Parsed, place: Place, key: Key, name: str, raw: Any) -> Value | None:
    plain = isinstance(raw, int | float) and not isinstance(raw, bool)
    if plain and (name == key.name):
        return _in_range(parsed, place, key, raw)
    if isinstance(raw, str) and name == key.bare:
        try:
            return _in_range(parsed, place, key, convert(raw, key.unit), raw)
        except QuantityError as error:
            parsed.add(place, f'{name} = "{raw}": {error}.')
            return None
    parsed.add(place, faults.wrong_kind(key, name, raw))
    return None


def _in_range(
    parsed: Parsed, place: Place, key: Key, value: float, said: Any = None
) -> Value | None:
    raw = value if said is None else said
    if not math.isfinite(value):
        parsed.add(place, f"{place[-1]} = {raw}: this is no number to work with.")
        return None
    if key.wire is None:
        if value >= 0:
            return value
        parsed.add(place, f"{place[-1]} = {faults.shown(raw)}: this must not be below 0.")
        return None
    wire = key.to_wire(value)
    if key.low <= wire <= key.high:
        return value
    text = faults.out_of_range(key, place[-1], raw, *key.range_in_file(), wire < key.low)
    parsed.add(place, text)
    return None
