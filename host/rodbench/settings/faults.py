"""What is wrong with a machine file, in sentences that name file, line and a way out."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rodbench.errors import SettingsError
from rodbench.settings.keys import (
    FIRST_KIND,
    Key,
    all_keys,
    by_place,
    keys_of,
)
from rodbench.settings.quantity import QuantityError, convert, split_suffix

NOTHING_SENT = "Nothing was sent."
_LATE_TABLES = ("gang", "linkage", "positions", "proof")
_NO_RELAYS = (
    "relays only switch fully on and off: no creep and no ramps, and their contacts weld. Use an "
    "H-bridge that takes PWM"
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong: where, what, and what to try (may be empty)."""

    file: str
    line: int
    text: str
    hint: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.text}"


def raise_all(findings: list[Finding], kept: str = NOTHING_SENT) -> None:
    """Raise one SettingsError that says all findings, file by file; return when there are none."""
    if not findings:
        return
    files = [finding.file for finding in findings]
    ordered = sorted(findings, key=lambda finding: (files.index(finding.file), finding.line))
    hints = dict.fromkeys(finding.hint for finding in ordered if finding.hint)
    raise SettingsError(
        "\n".join(str(finding) for finding in ordered),
        kept=kept,
        hint=" ".join(hints) or None,
    )


def shown(value: Any) -> str:
    """A value as it would stand in the file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    return repr(round(value, 9)) if isinstance(value, float) else str(value)


def display_table(path: tuple[str, ...]) -> str:
    """A table as the file writes it: `axes.1.limits`, or "the file" for the top."""
    return ".".join(path) if path else "the file"


def unknown_key(table: str, path: tuple[str, ...], name: str, value: Any) -> str:
    """What to say about a key that this version does not know."""
    where = display_table(path)
    if isinstance(value, Mapping):
        near = difflib.get_close_matches(name, _tables_in(path), n=1)
        hint = f" Did you mean [{'.'.join((*path, near[0]))}]?" if near else ""
        return f"there is no table [{'.'.join((*path, name))}].{hint}"
    said = f"{where} has no key '{name}'."
    return f"{said} {_meant(table, name, value)}".rstrip()


def _tables_in(path: tuple[str, ...]) -> list[str]:
    late = ["board", "rods", "axes", *_LATE_TABLES]
    return ["limits", "local", "linkage", "proof"] if path else late


def _meant(table: str, name: str, value: Any) -> str:
    """What was probably meant: another unit, another spelling, another table."""
    keys = keys_of(table)
    return other_unit(keys, name, value) or near(keys, name) or _other_table(table, name)


def other_unit(keys: Sequence[Key], name: str, value: Any) -> str:
    """How to write a number that stands under a name with another unit, or ""."""
    parts = split_suffix(name)
    if parts is None or not _is_number(value):
        return ""
    stem, unit = parts
    for key in keys:
        if key.bare == stem and key.kind == "number" and key.name != name:
            text = f"{shown(value)} {unit}"
            try:
                meant = round(convert(text, key.unit), 6)
            except QuantityError:
                return ""
            return f'{text} is {key.name} = {shown(meant)}, or {key.bare} = "{text}".'
    return ""


def near(keys: Sequence[Key], name: str) -> str:
    """Names of keys that look like this one, as a question, or ""."""
    found = difflib.get_close_matches(name, [key.name for key in keys], n=2, cutoff=0.6)
    names = " or ".join(f"'{word}'" for word in found)
    return f"Did you mean {names}?" if found else ""


def _other_table(table: str, name: str) -> str:
    for key in all_keys():
        if name in (key.name, key.bare) and key.table != table:
            return f"It belongs to {place_words(key.table)}."
    return ""


def place_words(table: str) -> str:
    """A kind of table in the file's own writing."""
    return {
        "": "the top of the file",
        "board": "[board]",
        "rods": "[rods.NAME]",
        "axes": "[axes.1]",
        "limits": "[axes.1.limits]",
        "local": "[axes.1.local]",
        "gang": "[gang]",
        "linkage": "[linkage]",
        "proof": "[proof]",
    }[table]


def wrong_word(key: Key, value: Any) -> str:
    """What to say about a word that the key does not take."""
    words = [word for word, _ in key.words]
    said = f"{key.name} = {shown(value)} is not known"
    if key.name == "driver" and "relay" in str(value).lower():
        return f"{key.name} = {shown(value)}: {_NO_RELAYS}."  # common practice, no source
    near = difflib.get_close_matches(str(value), words, n=1, cutoff=0.6)
    if near:
        return f'{said}. Did you mean "{near[0]}"?'
    return f"{said}. It can be {' or '.join(shown(word) for word in words)}."


def wrong_kind(key: Key, name: str, value: Any) -> str:
    """What to say about a value of the wrong kind."""
    said = f"{name} = {shown(value)}"
    if key.kind == "bool":
        return f"{said}: this is true or false, without quotes."
    if key.kind == "text":
        return f"{said}: this is a text in quotes."
    if _is_number(value):
        text = f"{shown(value)} {key.unit}"
        return f'{said} has no unit. Write {key.name} = {shown(value)}, or {name} = "{text}".'
    if isinstance(value, str) and name != key.bare and key.unit:
        return f"{said}: this is a number in {key.unit}. {_as_number(key, value)}"
    return f"{said}: this is a number{f' in {key.unit}' if key.unit else ''}."


def _as_number(key: Key, value: str) -> str:
    """How to write a quantity that stands where a number belongs; a decimal comma as a point."""
    pointed = re.sub(r"(\d),(\d)", r"\1.\2", value)
    try:
        meant = round(convert(pointed, key.unit), 6)
    except QuantityError:
        return f"Write {key.name} = 2.9, for example."
    return f'Write {key.name} = {shown(meant)}, or {key.bare} = "{pointed}".'


def place_meant(name: str, value: Any) -> str:
    """How to write a position, by what stands there instead."""
    if _is_number(value):
        return f'mm, deg or %? Write {name} = "{shown(value)} mm", for example.'
    return f'Write {name} = "30 mm", "1.2 in", "30 deg" or "50 %".'


def out_of_range(key: Key, name: str, value: Any, low: float, high: float, below: bool) -> str:
    """What to say about a value that the board does not take."""
    unit = f" {key.unit}" if key.unit else ""
    if below:
        return f"{name} = {shown(value)} is below {low:.6g}{unit}, the least that the board takes."
    return f"{name} = {shown(value)} is above {high:.6g}{unit}, the most that the board takes."


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def known_bare(table: str, name: str, board_kind: str = FIRST_KIND) -> Key | None:
    """The key that `name` means, by its full or its bare name."""
    exact = by_place(board_kind).get((table, name))
    if exact:
        return exact
    return next((key for key in keys_of(table, board_kind) if key.bare == name), None)


def short(path: Path) -> str:
    """How a file is named in errors: as the person gave it."""
    return str(path)
