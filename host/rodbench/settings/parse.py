"""A machine file's text as checked values, each with the place where it was written."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from tomlkit.exceptions import ParseError, TOMLKitError

from rodbench.settings import faults
from rodbench.settings.faults import Finding
from rodbench.settings.keys import Key, Value
from rodbench.settings.lines import Place, decimal_commas, doubles, line_map, line_of, without_value
from rodbench.settings.quantity import QuantityError, convert

VERSION = 1


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


@dataclass(slots=True)
class Parsed:
    """All values by (table path, key name), names of rods and numbers of axes, and findings."""

    file: str
    lines: dict[Place, int]
    values: dict[tuple[Place, str], Written] = field(default_factory=dict)
    rods: list[str] = field(default_factory=list)
    axes: list[int] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def add(self, path: Place, text: str, hint: str = "") -> None:
        """One more thing that is wrong at `path`."""
        self.findings.append(Finding(self.file, line_of(self.lines, path), text, hint))

    def get(self, path: Place, name: str) -> Written | None:
        """The written value of a key, or None."""
        return self.values.get((path, name))


def parse(text: str, file: str) -> Parsed:
    """Read `text`; findings are collected, not raised, except where it is no TOML at all."""
    parsed = Parsed(file, line_map(text))
    document = _document(text, parsed)
    if document is None:
        return parsed
    _version(parsed, document)
    for path, kind, table in _tables(parsed, document):
        _table(parsed, path, kind, table)
    return parsed


def _document(text: str, parsed: Parsed) -> Mapping[str, Any] | None:
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


def _tables(
    parsed: Parsed, document: Mapping[str, Any]
) -> Iterator[tuple[Place, str, Mapping[str, Any]]]:
    """Place, kind and content of every table that is known."""
    top = {k: v for k, v in document.items() if k not in {"machine_file", "board", "rods", "axes"}}
    yield (), "", top
    board = _as_table(parsed, ("board",), document.get("board", {}))
    yield ("board",), "board", board
    for name, rod in _as_table(parsed, ("rods",), document.get("rods", {})).items():
        parsed.rods.append(name)
        yield ("rods", name), "rods", _as_table(parsed, ("rods", name), rod)
    for number, axis in _as_table(parsed, ("axes",), document.get("axes", {})).items():
        path = ("axes", number)
        if number not in {"1", "2"}:
            parsed.add(path, f"axes.{number}: the board has axes 1 and 2.")
            continue
        parsed.axes.append(int(number))
        content = dict(_as_table(parsed, path, axis))
        limits = _as_table(parsed, (*path, "limits"), content.pop("limits", {}))
        yield path, "axes", content
        yield (*path, "limits"), "limits", limits


def _as_table(parsed: Parsed, path: Place, value: Any) -> Mapping[str, Any]:
    if isinstance(value, Mapping):
        return value
    parsed.add(path, f"'{'.'.join(path)}' is a table: write [{'.'.join(path)}] on its own line.")
    return {}


def _table(parsed: Parsed, path: Place, kind: str, table: Mapping[str, Any]) -> None:
    for name, raw in table.items():
        key = faults.known_bare(kind, name)
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
    if isinstance(raw, bool if key.kind == "bool" else str):
        return raw
    parsed.add(place, faults.wrong_kind(key, name, raw))
    return None


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
