"""Files of plain tables, read with the machine file's own habits: a job, a list of candidates.

Numbers stand under a name with its unit (`mass_kg = 14`), quantities as text under the bare name
(`mass = "31 lb"`). Every mistake is collected with its line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rodbench.errors import SettingsError
from rodbench.settings import faults
from rodbench.settings.keys import Key, Value
from rodbench.settings.lines import Place, line_map, line_of
from rodbench.settings.parse import Parsed, Written, document_of
from rodbench.settings.quantity import QuantityError, convert

NOTHING_DONE = "Nothing was computed."
LEAST = 1e-6  # what is asked to be above 0 is no less than this, in its own unit
MOST = {  # beyond what any rod of this kind meets, so that a slip of the pen is seen
    "mm": 1e5,
    "mm/s": 1e4,
    "mm/s2": 1e6,
    "kg": 1e5,
    "m2": 1e4,
    "Pa": 1e6,
    "N": 1e7,
    "N m": 1e6,
    "V": 1e3,
    "A": 1e3,
    "ohm": 1e8,
    "s": 1e7,
    "min": 1e5,
    "": 1e4,
}


@dataclass(frozen=True, slots=True)
class Field:
    """A key of a table, and what it may be; `above` leaves the low end out."""

    key: Key
    needed: bool = False
    low: float = 0.0
    high: float = math.inf
    above: bool = False

    def allows(self, value: float) -> bool:
        """Whether the number lies in the range."""
        beyond = value >= self.low + LEAST if self.above else value >= self.low
        return beyond and value <= self.high

    @property
    def range(self) -> str:
        """The range in words."""
        return f"{self.low:g} .. {self.high:g}{self._unit}"

    def broken(self, value: float) -> str:
        """The side of the range that a value lies beyond."""
        return (f"at most {self.high:g}" if value > self.high else self._low) + self._unit

    @property
    def _low(self) -> str:
        return f"above {self.low:g}" if self.above else f"at least {self.low:g}"

    @property
    def _unit(self) -> str:
        return f" {self.key.unit}" if self.key.unit else ""


def number(table: str, name: str, unit: str, doc: str, **limits: Any) -> Field:
    """A field that is a number; "" is for plain numbers and shares."""
    limits.setdefault("high", MOST.get(unit, 1e6))
    return Field(Key(table, name, "number", unit, doc), **limits)


def word(table: str, name: str, words: Sequence[str], doc: str, **limits: Any) -> Field:
    """A field that is one of some words."""
    numbered = tuple((each, index) for index, each in enumerate(words))
    return Field(Key(table, name, "word", "", doc, words=numbered), **limits)


def plain(table: str, name: str, kind: str, doc: str) -> Field:
    """A field that is a text or true / false."""
    return Field(Key(table, name, kind, "", doc))


def load_text(path: Path, hint: str) -> str:
    """The text of a file. Raises SettingsError."""
    try:
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "it is not UTF-8 text"
        raise SettingsError(
            f"{path}: cannot be read: {reason}", kept=NOTHING_DONE, hint=hint
        ) from problem


def begin(text: str, file: str, version: str) -> tuple[Parsed, Mapping[str, Any] | None]:
    """The document and where to collect findings; `version` is the key that opens the file."""
    parsed = Parsed(file, line_map(text))
    document = document_of(text, parsed)
    if document is not None and version not in document:
        parsed.add((), f"'{version} = 1' is missing: the first line says what this file is.")
    elif document is not None and (document[version] != 1 or document[version] is True):
        said = f"{version} = {faults.shown(document[version])}"
        parsed.add((version,), f"{said}: this rodbench reads version 1 only.")
    return parsed, document


def read_table(parsed: Parsed, path: Place, raw: Any, fields: Sequence[Field]) -> None:
    """The values of a table into `parsed`, with findings for what is wrong or missing."""
    if not isinstance(raw, Mapping):
        parsed.add(path, f"'{'.'.join(path)}' is a table: write [{'.'.join(path)}].")
        return
    for name, value in raw.items():
        _entry(parsed, path, name, value, fields)
    names = {name for field in fields for name in (field.key.name, field.key.bare) if name in raw}
    for field in fields:
        key = field.key
        if field.needed and not {key.name, key.bare} & names:
            parsed.add(path, f"[{'.'.join(path)}] has no {key.name}: {key.doc}.")


def unknown_tables(parsed: Parsed, document: Mapping[str, Any], known: Sequence[str]) -> None:
    """Findings for what stands at the top and has no place there."""
    for name in document:
        if name not in known:
            what = f"[{name}]" if isinstance(document[name], Mapping) else f"'{name}'"
            names = ", ".join(known[1:])
            place = next((at for at in parsed.lines if at[0] == name), (name,))
            parsed.add(place, f"there is no {what} here. There are {names}.")


def value_of(parsed: Parsed, path: Place, name: str, default: Any = None) -> Any:
    """A value that was read, or the default."""
    found = parsed.get(path, name)
    return default if found is None else found.value


def stands(document: Mapping[str, Any], field: Field) -> bool:
    """Whether the key is written in its table at all, rightly or wrongly."""
    table = document.get(field.key.table)
    return isinstance(table, Mapping) and bool({field.key.name, field.key.bare} & set(table))


def _entry(parsed: Parsed, path: Place, name: str, raw: Any, fields: Sequence[Field]) -> None:
    field = next((f for f in fields if name in (f.key.name, f.key.bare)), None)
    place = (*path, name)
    if field is None:
        keys = [f.key for f in fields]
        meant = faults.other_unit(keys, name, raw) or faults.near(keys, name) or _longer(keys, name)
        where = ".".join(path) or "the file's top"
        parsed.add(place, f"{where} has no key '{name}'. {meant}".rstrip())
        return
    twin = parsed.get(path, field.key.name)
    if twin is not None:
        both = f"{name} and {twin.name} (line {twin.line}) say the same thing: keep one."
        parsed.add(place, both)
        return
    value = _value(parsed, place, field, raw)
    if value is not None:
        line = line_of(parsed.lines, place)
        parsed.values[path, field.key.name] = Written(field.key, path, name, raw, value, line)


def _longer(keys: Sequence[Key], name: str) -> str:
    names = [f"'{key.name}'" for key in keys if key.name.startswith(name)]
    return f"Did you mean {' or '.join(names)}?" if names else ""


def _value(parsed: Parsed, place: Place, field: Field, raw: Any) -> Value | None:
    key, name = field.key, place[-1]
    if key.kind == "number":
        return _number(parsed, place, field, raw)
    if key.kind == "word":
        if isinstance(raw, str) and raw in dict(key.words):
            return raw
        parsed.add(place, faults.wrong_word(key, raw))
        return None
    if isinstance(raw, bool if key.kind == "bool" else str):
        return raw
    parsed.add(place, faults.wrong_kind(key, name, raw))
    return None


def _number(parsed: Parsed, place: Place, field: Field, raw: Any) -> float | None:
    key, name = field.key, place[-1]
    if isinstance(raw, int | float) and not isinstance(raw, bool) and name == key.name:
        value = float(raw)
    elif isinstance(raw, str) and name == key.bare:
        try:
            value = convert(raw, key.unit)
        except QuantityError as error:
            parsed.add(place, f'{name} = "{raw}": {error}.')
            return None
    else:
        parsed.add(place, faults.wrong_kind(key, name, raw))
        return None
    if math.isfinite(value) and field.allows(value):
        return value
    wanted = field.broken(value) if math.isfinite(value) else "a number to work with"
    text = f"{name} = {faults.shown(raw)}: this must be {wanted}."
    if key.unit == "" and field.high == 1.0 < value <= 100.0:
        text += f' It is a share: {name} = {value / 100:g}, or "{value:g} %".'
    parsed.add(place, text)
    return None
