"""The machine file: TOML for a person, wire integers for the board, both ways.

Rods, axes and limits are apart in the file; on the wire each axis has all of them. Values that
do not change are left exactly as they were written, with their comments and their order.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rodbench_protocol.settings import defaults, digest_all

from rodbench.errors import SettingsError
from rodbench.settings import edit, faults, rules
from rodbench.settings.keys import Key, Value, by_place, by_wire, keys_of
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed, Written, parse
from rodbench.settings.quantity import convert, split

FILE_NAME = "machine.toml"
Scopes = dict[int, dict[str, int]]


class MachineFile:
    """A machine file that holds: construction raises SettingsError with every finding."""

    def __init__(self, text: str, path: Path) -> None:
        self.path = path
        self._text = self._loaded = text
        self._parsed = _checked(text, path)

    @classmethod
    def load(cls, path: Path) -> MachineFile:
        """Read a file. Raises SettingsError with file, line and a way out."""
        try:
            return cls(path.read_text(encoding="utf-8"), path)
        except FileNotFoundError:
            raise SettingsError(
                f"{path}: there is no such machine file",
                kept=faults.NOTHING_SENT,
                hint="`rodbench new DIR` makes one; then work inside DIR, or give --machine FILE.",
            ) from None
        except IsADirectoryError:
            raise SettingsError(f"{path}: this is a folder", kept=faults.NOTHING_SENT) from None
        except UnicodeDecodeError:
            raise SettingsError(
                f"{path}: this is not UTF-8 text", kept=faults.NOTHING_SENT
            ) from None
        except OSError as error:
            raise SettingsError(
                f"{path}: {error.strerror or error}", kept=faults.NOTHING_SENT
            ) from None

    @property
    def text(self) -> str:
        """The file's text, with the changes made so far."""
        return self._text

    @property
    def name(self) -> str:
        """What the machine is called; its folder's name when the file does not say."""
        return str(self.host("name") or self.path.resolve().parent.name)

    @property
    def show_units(self) -> str:
        """`mm` or `in`: units of screens, plots and reports."""
        return str(self.host("show_units"))

    @property
    def rods(self) -> list[str]:
        """Names of the rods."""
        return list(self._parsed.rods)

    @property
    def axes(self) -> list[int]:
        """Numbers of the axes that the file describes."""
        return sorted(self._parsed.axes)

    def rod_of(self, axis: int) -> str | None:
        """Name of the rod on an axis, or None."""
        found = self._parsed.get(("axes", str(axis)), "rod")
        return None if found is None else str(found.value)

    def host(self, name: str, path: Place = ()) -> Value | None:
        """A key that stays in the file, or its default: `host("fuse_a", ("board",))`."""
        found = self._parsed.get(path, name)
        if found is not None:
            return found.value
        return by_place()[_kind(path), name].default

    def scope(self, number: int) -> dict[str, int]:
        """Wire integers of scope 0 (board), 1 or 2, defaults for what the file does not say."""
        return _scope(self._parsed, number)

    def scopes(self) -> Scopes:
        """Wire integers of all scopes."""
        return {number: self.scope(number) for number in (0, 1, 2)}

    def digest(self) -> int:
        """The digest that a board with these settings tells."""
        return digest_all(self.scope(0), self.scope(1), self.scope(2))

    def says(self, scope: int, wire: str) -> bool:
        """Whether the file itself gives this setting (else its default is in force)."""
        place = self._place(scope, wire)
        return place is not None and self._parsed.get(*place[:2]) is not None

    def table_of(self, scope: int, kind: str) -> str:
        """The table of a scope's keys as the file writes it: `rods.north`, `axes.1.limits`."""
        tables = {
            "rods": f"rods.{self.rod_of(scope) or f'rod{scope}'}",
            "limits": f"axes.{scope}.limits",
        }
        return tables.get(kind, f"axes.{scope}" if scope else "board")

    def put(
        self, scope: int, values: Mapping[str, int], notes: Mapping[str, str] | None = None
    ) -> None:
        """Set wire settings of a scope. What means the same already is left as written.

        `notes` (by wire name) become comments such as `# rodbench: raw 7410, spread 3`. Raises
        SettingsError, and changes nothing, when the file would not hold afterwards.
        """
        if scope:
            self._put_axis(scope, values)
        now = self.scope(scope)
        text = self._text
        for wire, number in values.items():
            place = self._place(scope, wire)
            if place is None or (now[wire] == number and not (notes and wire in notes)):
                continue
            text = self._changed(text, place[0], place[2], number, (notes or {}).get(wire, ""))
        self._take(text)

    def put_host(self, path: Place, name: str, value: Value, note: str = "") -> None:
        """Set a key that stays in the file: `put_host(("board",), "fuse_a", 5.0)`."""
        written = self._parsed.get(path, name)
        text = self._text
        if written is not None and written.name != name:
            text = edit.remove_key(text, path, written.name)
        self._take(edit.set_key(text, path, name, _toml(value), note))

    def check_rod(self, axis: int, name: str) -> None:
        """Raise SettingsError when a rod of this name could not be put on the axis."""
        if not re.fullmatch(r"\w[\w -]{0,39}", name):
            raise SettingsError(
                f"'{name}' is no name for a rod: letters, digits, spaces, - and _, at most 40",
                kept="The machine file was left as it is.",
            )
        if self.rod_of(3 - axis) == name:
            raise SettingsError(
                f"rod '{name}' is on axis {3 - axis} already",
                kept="The machine file was left as it is.",
                hint="Another name; or take it off that axis in the machine file first.",
            )

    def put_rod(self, axis: int, name: str, stroke_mm: float | None = None) -> None:
        """Put a rod (new ones need a stroke in mm) on an axis."""
        text = self._text
        if stroke_mm is not None:
            text = edit.set_key(text, ("rods", name), "stroke_mm", _toml(float(stroke_mm)))
        text = edit.set_key(text, ("axes", str(axis)), "rod", json.dumps(name, ensure_ascii=False))
        self._take(text)

    def save(self) -> None:
        """Write the file in one step. Raises SettingsError when it was edited meanwhile."""
        if self.path.exists() and self.path.read_text(encoding="utf-8") != self._loaded:
            raise SettingsError(
                f"{self.path}: the file was changed by somebody else meanwhile",
                kept="The file was left as it is.",
                hint="`rodbench settings pull` writes into it what the board has.",
            )
        _replace(self.path, self._text)
        self._loaded = self._text

    def _put_axis(self, axis: int, values: Mapping[str, int]) -> None:
        """Make sure that the axis has a rod to put values on."""
        before = self.scope(axis)
        with_place = [wire for wire in values if ("axis", wire) in by_wire()]
        if self.rod_of(axis) is not None or all(before[w] == values[w] for w in with_place):
            return
        name = f"rod{axis}"
        self.put_rod(axis, name, values.get("stroke_um", before["stroke_um"]) / 1000)
        if not values.get("feedback", before["feedback"]):  # a rod has a pot unless it says not
            self._take(edit.set_key(self._text, ("rods", name), "feedback", '"not-fitted"'))

    def _place(self, scope: int, wire: str) -> tuple[Place, str, Key] | None:
        """Table path, name and key of a wire setting; None when the file has no place for it."""
        key = by_wire().get(("axis" if scope else "board", wire))
        if key is None:
            return None
        path = ("board",) if not scope else rules.axis_paths(self._parsed, scope).get(key.table)
        return None if path is None else (path, key.name, key)

    def _changed(self, text: str, path: Place, key: Key, number: int, note: str) -> str:
        written = self._parsed.get(path, key.name)
        name = written.name if written else key.name
        return edit.set_key(text, path, name, _value_text(key, number, written), note)

    def _take(self, text: str) -> None:
        if text != self._text:
            self._parsed = _checked(text, self.path)
            self._text = text


def new_text(name: str) -> str:
    """A machine file for a new machine, before anything is known about it."""
    return (
        "machine_file = 1\n"
        f"name = {json.dumps(name, ensure_ascii=False)}\n"
        'show_units = "mm"                # or "in"\n'
        "\n"
        "[board]\n"
        'kind = "atmega328p-5v"\n'
        "supply_nominal_v = 12.0          # what the supply is built for\n"
        "\n"
        "# `rodbench commission` fills in the rest: rods, axes and their limits.\n"
    )


def _checked(text: str, path: Path) -> Parsed:
    parsed = parse(text, faults.short(path))
    if not parsed.findings:
        rules.find_rods(parsed)
        rules.find_board(parsed, _scope(parsed, 0))
    if not parsed.findings:
        for axis in parsed.axes:
            rules.find_axis(parsed, axis, _scope(parsed, axis))
    faults.raise_all(parsed.findings)
    return parsed


def _scope(parsed: Parsed, number: int) -> dict[str, int]:
    kind = "axis" if number else "board"
    values = defaults(kind)
    paths = rules.axis_paths(parsed, number) if number else {"board": ("board",)}
    if "rods" in paths:  # a rod that is there has a pot, unless the file says otherwise
        values["feedback"] = 1
    for table, path in paths.items():
        for key in keys_of(table):
            written = parsed.get(path, key.name)
            if written is not None and key.wire is not None:
                values[key.wire] = key.to_wire(written.value)
    return values


def _kind(path: Place) -> str:
    if not path:
        return ""
    return "limits" if path[-1] == "limits" else path[0]


def _value_text(key: Key, number: int, written: Written | None) -> str:
    """TOML of a wire value; a quantity with a unit keeps its unit."""
    if written is not None and key.kind == "number" and isinstance(written.raw, str):
        return _toml(_in_unit(key, number, split(written.raw)[1]))
    return _toml(key.to_file(number))


def _in_unit(key: Key, number: int, unit: str) -> str:
    """`number` in `unit` with as few digits as still mean it."""
    share = number / (key.full_scale or key.scale)
    factor = convert(f"1 {unit}", key.unit)
    for digits in range(3, 15):
        rounded = float(f"{share / factor:.{digits}g}")
        text = f"{repr(rounded).removesuffix('.0')} {unit}"
        if key.to_wire(convert(text, key.unit)) == number:
            return text
    return f"{share / factor!r} {unit}"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)


def _replace(path: Path, text: str) -> None:
    """Write beside it, flush, and put it in place: a power cut leaves the old file or the new."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        with fresh.open("w", encoding="utf-8", newline="\n") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise SettingsError(
            f"{path}: {error.strerror or error}", kept="The file was left as it is."
        ) from None
