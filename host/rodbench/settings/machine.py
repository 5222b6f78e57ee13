"""The machine file: TOML for a person, wire integers for the board, both ways.

Rods, axes and limits are apart in the file; on the wire each axis has all of them. Values that
do not change are left exactly as they were written, with their comments and their order.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rodbench_protocol.settings import defaults, digest_all

from rodbench import durable
from rodbench.errors import SettingsError
from rodbench.science.conductors import Wire
from rodbench.settings import edit, faults, linked, pot_table, rules, wires
from rodbench.settings.keys import Key, Value, by_place, by_wire, keys_of, kind_named
from rodbench.settings.limits import Ends
from rodbench.settings.lines import Place
from rodbench.settings.parse import AXIS_TABLES, Named, Parsed, Written, parse
from rodbench.settings.positions import Way
from rodbench.settings.proofs import find_proofs, proof_path
from rodbench.settings.quantity import convert, split
from rodbench.settings.remarks import remarks, way_of, working_ends_mm

FILE_NAME = "machine.toml"
Scopes = dict[int, dict[str, int]]


class MachineFile:
    """A machine file that holds: construction raises SettingsError with every finding."""

    def __init__(self, text: str, path: Path) -> None:
        self.path = path
        self._text = self._loaded = text
        self._parsed = _checked(text, path)
        self._changing = False

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

    @property
    def board_kind(self) -> str:
        """The kind of board that the file is for, in the file's word."""
        return self._parsed.board_kind

    @property
    def positions(self) -> dict[str, Named]:
        """Positions with a name."""
        return dict(self._parsed.positions)

    @property
    def remarks(self) -> list[str]:
        """What a person should know of it, though it holds: file, line and a sentence each."""
        return [str(finding) for finding in remarks(self._parsed, self.scopes())]

    def way_of(self, axis: int, values: Mapping[str, int] | None = None) -> Way:
        """Soft stops and linkage of an axis; `values` are settings in force (wire integers), else
        the file's own. Raises ValueError, with a sentence, for a linkage that is not complete."""
        return way_of(self._parsed, axis, self.scope(axis) if values is None else values)

    def working_ends_mm(self, axis: int) -> Ends:
        """Where the machine ends the rod's way, in mm; None where the file does not say."""
        return working_ends_mm(self._parsed, axis)

    def fitted_wire(self) -> Wire | None:
        """The thinnest wire that carries motor current; None where the file does not say."""
        return wires.fitted_wire(self._parsed)

    def proof_of(self, axis: int) -> tuple[Place, dict[str, Value]]:
        """Which table is about a proof of the axis, and what it says."""
        path = proof_path(self._parsed, axis)
        return path, {
            name: written.value for (at, name), written in self._parsed.values.items() if at == path
        }

    def rod_of(self, axis: int) -> str | None:
        """Name of the rod on an axis, or None."""
        found = self._parsed.get(("axes", str(axis)), "rod")
        return None if found is None else str(found.value)

    def host(self, name: str, path: Place = ()) -> Value | None:
        """What the file says of a key, else the default of a key that stays in the file, else None:
        `host("fuse_a", ("board",))`."""
        found = self._parsed.get(path, name)
        if found is not None:
            return found.value
        key = by_place(self.board_kind)[_kind(path), name]
        return None if key.wire else key.default  # a setting's default is no figure of the file

    def says(self, name: str, path: Place = ()) -> bool:
        """Whether the file itself says a key."""
        return self._parsed.get(path, name) is not None

    def scope(self, number: int) -> dict[str, int]:
        """Wire integers of scope 0 (board), 1 or 2, defaults for what the file does not say."""
        return _scope(self._parsed, number)

    def scopes(self) -> Scopes:
        """Wire integers of all scopes that the kind of board has."""
        axes = kind_named(self.board_kind).axes
        return {number: self.scope(number) for number in range(1 + axes)}

    def digest(self) -> int:
        """The digest that a board with these settings tells."""
        return digest_all(*self.scopes().values())

    def table_of(self, scope: int, kind: str) -> str:
        """The table of a scope's keys as the file writes it: `rods.north`, `axes.1.limits`."""
        tables = {
            "rods": f"rods.{self.rod_of(scope) or f'rod{scope}'}",
            "limits": f"axes.{scope}.limits",
            "local": f"axes.{scope}.local",
            "gang": "gang",
        }
        return tables.get(kind, f"axes.{scope}" if scope else "board")

    def put(
        self, scope: int, values: Mapping[str, int], notes: Mapping[str, str] | None = None
    ) -> None:
        """Set wire settings of a scope. What means the same already is left as written.

        `notes` (by wire name) become comments such as `# rodbench: raw 7410, spread 3`. Raises
        SettingsError, and changes nothing, when the file would not hold afterwards.
        """
        with self.changing():
            self._put(scope, values, notes or {})

    def _put(self, scope: int, values: Mapping[str, int], notes: Mapping[str, str]) -> None:
        if scope:
            self._put_axis(scope, values)
        now = self.scope(scope)
        text = self._text
        for wire, number in values.items():
            place = self._place(scope, wire)
            if place is None or (now[wire] == number and wire not in notes):
                continue
            text = self._changed(text, place[0], place[2], number, notes.get(wire, ""))
        if "table_points" in values or "stroke_um" in values:
            text = self._with_table(text, scope, {**now, **values}, notes.get("table_points", ""))
        if scope and _learns(now, values, notes):
            text = self._with_learned(text, scope)
        self._take(text)

    def put_host(self, path: Place, name: str, value: Value | list[int], note: str = "") -> None:
        """Set a key that stays in the file: `put_host(("board",), "fuse_a", 5.0)`."""
        written = self._parsed.get(path, name)
        text = self._text
        if written is not None and written.name != name:
            text = edit.remove_key(text, path, written.name)
        self._take(edit.set_key(text, path, name, _toml(value), note))

    def put_kind(self, word: str) -> None:
        """Make the file one for another kind of board; its shares of the full scale stay."""
        self.put_host(("board",), "kind", word)

    def remember(self, axis: int) -> None:
        """Note the rod and the board with which this axis's direction was learned, unless the
        file says so already."""
        path = ("axes", str(axis))
        if None in (self.host("learned_with", path), self.host("learned_on_board", path)):
            self._take(self._with_learned(self._text, axis))

    @contextmanager
    def changing(self) -> Iterator[None]:
        """While several values change: the file is checked once, at the end. An error, also of
        the caller, leaves the file's text as it was before."""
        if self._changing:  # within another such
            yield
            return
        text, parsed = self._text, self._parsed
        self._changing = True
        try:
            yield
            self._changing = False
            self._parsed = _checked(self._text, self.path)
        except BaseException:
            self._text, self._parsed = text, parsed
            raise
        finally:
            self._changing = False

    def wrong_rod(self, axis: int, name: str) -> str | None:
        """Why a rod of this name cannot be put on the axis, as a sentence; None when it can."""
        if not re.fullmatch(r"\w[\w -]{0,39}", name):
            return (
                f"'{name}' is no name for a rod: letters, digits, spaces, - and _, at most 40 "
                "characters."
            )
        if self.rod_of(3 - axis) == name:
            return f"Rod '{name}' is on axis {3 - axis} already: another name, please."
        return None

    def wrong_feedback(self, axis: int, word: str) -> str | None:
        """Why a rod with this feedback cannot be on the axis, as a sentence; None when it can."""
        if word == "none" and linked.ganged(self._parsed):
            return f"[gang] in the machine file has axis {axis}: a rod without a pot cannot be."
        return None

    def put_rod(self, axis: int, name: str, stroke_mm: float | None = None) -> None:
        """Put a rod (new ones need a stroke in mm) on an axis. With another rod than before the
        axis is not calibrated any more, and what was learned with the old one is forgotten."""
        text = self._text
        path = ("axes", str(axis))
        if stroke_mm is not None:
            text = edit.set_key(text, ("rods", name), "stroke_mm", _toml(float(stroke_mm)))
        if self.rod_of(axis) != name:
            if self._parsed.get(path, "calibrated") is not None:
                text = edit.set_key(text, path, "calibrated", "false")
            for key in ("learned_with", "learned_on_board"):
                text = edit.remove_key(text, path, key)
        text = edit.set_key(text, path, "rod", json.dumps(name, ensure_ascii=False))
        self._take(text)

    def save(self) -> None:
        """Write the file in one step. Raises SettingsError when it was edited meanwhile."""
        if self.path.exists() and self.path.read_text(encoding="utf-8") != self._loaded:
            raise SettingsError(
                f"{self.path}: the file was changed by somebody else meanwhile",
                kept="The file was left as it is.",
                hint="`rodbench settings pull` writes into it what the board has.",
            )
        self.write()

    def write(self) -> None:
        """Write the file in one step, whatever is there. Raises SettingsError."""
        _replace(self.path, self._text)
        self._loaded = self._text

    def _put_axis(self, axis: int, values: Mapping[str, int]) -> None:
        """Make sure that the axis has a rod to put values on."""
        before = self.scope(axis)
        with_place = [w for w in values if ("axis", w) in by_wire(self.board_kind)]
        if self.rod_of(axis) is not None or all(before[w] == values[w] for w in with_place):
            return
        name = f"rod{axis}"
        self.put_rod(axis, name, values.get("stroke_um", before["stroke_um"]) / 1000)
        if not values.get("feedback", before["feedback"]):  # a rod has a pot unless it says not
            self._take(edit.set_key(self._text, ("rods", name), "feedback", '"not-fitted"'))

    def _place(self, scope: int, wire: str) -> tuple[Place, str, Key] | None:
        """Table path, name and key of a wire setting; None when the file has no place for it."""
        key = by_wire(self.board_kind).get(("axis" if scope else "board", wire))
        if key is None:
            return None
        path = rules.paths(self._parsed, scope).get(key.table)
        return None if path is None else (path, key.name, key)

    def _changed(self, text: str, path: Place, key: Key, number: int, note: str) -> str:
        written = self._parsed.get(path, key.name)
        name = written.name if written else key.name
        return edit.set_key(text, path, name, _value_text(key, number, written), note)

    def _with_table(self, text: str, axis: int, values: Mapping[str, int], note: str) -> str:
        """`text` with the linearity table of an axis's settings, where it is another than now."""
        path = rules.paths(self._parsed, axis).get("rods")
        now = self.scope(axis)
        same = all(now[w] == v for w, v in pot_table.used(values).items())
        if path is None or (same and now["stroke_um"] == values["stroke_um"] and not note):
            return text
        if not values["table_points"]:
            return edit.remove_key(text, path, pot_table.NAME)
        scale = kind_named(self.board_kind).adc_full_scale
        return edit.set_key(text, path, pot_table.NAME, pot_table.to_toml(values, scale), note)

    def _with_learned(self, text: str, axis: int) -> str:
        """`text` with the rod now on the axis, and this board, as what its direction is of."""
        path, rod, board = ("axes", str(axis)), self.rod_of(axis), self.scope(0)["board_id"]
        if rod is not None:
            text = edit.set_key(text, path, "learned_with", json.dumps(rod, ensure_ascii=False))
        if board:
            text = edit.set_key(text, path, "learned_on_board", str(board))
        return text

    def _take(self, text: str) -> None:
        if text != self._text:
            self._parsed = _read(text, self.path) if self._changing else _checked(text, self.path)
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
        '# stop_input = "normally-closed"  # once wired to D8. No emergency stop: that cuts power\n'
        "\n"
        "# `rodbench commission` fills in the rest: rods, axes and their limits.\n"
        "# Yours to add: places by name, as in `rodbench move 1 open`, and the hinge for degrees.\n"
        "# [positions]\n"
        '# open = "30 deg"                  # or "180 mm", "7 in", "90 %" of the way\n'
        '# closed = "0 %"\n'
        "# [linkage]\n"
        "# hinge_to_frame_pin_mm = 420.0    # figures invented\n"
        "# hinge_to_vent_pin_mm = 390.0\n"
        "# closed_at_mm = 3.0               # the rod at 0 deg; left out: fully retracted\n"
    )


def _learns(now: Mapping[str, int], values: Mapping[str, int], notes: Mapping[str, str]) -> bool:
    """Whether new values say which way is out, for the rod that is on the axis now."""
    return "motor_reversed" in notes or bool(values.get("calibrated") and not now["calibrated"])


def _read(text: str, path: Path) -> Parsed:
    """The text as values, whether or not they agree. Raises SettingsError for what is no value."""
    parsed = parse(text, faults.short(path))
    faults.raise_all(parsed.findings)
    return parsed


def _checked(text: str, path: Path) -> Parsed:
    parsed = parse(text, faults.short(path))
    if not parsed.findings:
        rules.find_rods(parsed)
        rules.find_board(parsed, _scope(parsed, 0))
        linked.find_tables(parsed)
        wires.find_wires(parsed)
        find_proofs(parsed)
    if not parsed.findings:
        for axis in parsed.axes:
            rules.find_axis(parsed, axis, _scope(parsed, axis), _scope(parsed, 3 - axis))
    faults.raise_all(parsed.findings)
    return parsed


def _scope(parsed: Parsed, number: int) -> dict[str, int]:
    kind = "axis" if number else "board"
    values = defaults(kind)
    paths = rules.paths(parsed, number)
    if "rods" in paths:  # a rod that is there has a pot, unless the file says otherwise
        values["feedback"] = 1
    for table, path in paths.items():
        for key in keys_of(table, parsed.board_kind):
            written = parsed.get(path, key.name)
            if written is not None and key.wire is not None:
                values[key.wire] = key.to_wire(written.value)
    points = parsed.get(paths["rods"], pot_table.NAME) if "rods" in paths else None
    if points is not None:
        scale = kind_named(parsed.board_kind).adc_full_scale
        values |= pot_table.to_wire(str(points.value), values["stroke_um"], scale)
    return values


def _kind(path: Place) -> str:
    if not path:
        return ""
    return path[-1] if path[-1] in AXIS_TABLES else path[0]


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
    try:
        durable.replace(path, text.encode())
    except OSError as error:
        raise SettingsError(
            f"{path}: {error.strerror or error}", kept="The file was left as it is."
        ) from None
