"""Reads a plant file: strict, each error with its line and the nearest keys that exist."""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass, field, fields
from importlib import resources
from pathlib import Path
from typing import Any

from rodbench.emulator.faults import KINDS, Fault
from rodbench.emulator.hands import KINDS as INPUT_KINDS
from rodbench.emulator.hands import Input
from rodbench.emulator.load import Load
from rodbench.emulator.plant import Driver, Ends, Motor, Mount, Rod, Screw, Sensor
from rodbench.emulator.plant_keys import BY_TABLE, Key
from rodbench.emulator.wiper import Pot
from rodbench.errors import SettingsError

KEPT = "no emulator was started"
KEYS_HINT = "`rodbench emulate --keys` lists every key with its unit and range"
PARTS = {
    "motor": Motor,
    "screw": Screw,
    "load": Load,
    "ends": Ends,
    "pot": Pot,
    "sensor": Sensor,
    "mount": Mount,
    "driver": Driver,
}
SUPPLIES_V = {"posix-3v3": 3.3}  # boards whose own supply is not 5 V unless a file says so


@dataclass(slots=True)
class Supply:
    """The motor supply and the divider that the board reads it through."""

    volts: float = 12.4
    source_ohm: float = 0.07
    divider_ratio: float = 5.71
    noise_lsb: float = 0.4


@dataclass(slots=True)
class BoardFigures:
    """Its own supply and the chip's reference in V, the silence of a reset, its converter."""

    reference_v: float = 5.0
    bandgap_v: float = 1.1
    boot_ms: float = 300.0
    kind: str = "atmega328p-5v"


@dataclass(slots=True)
class LineFigures:
    """The serial line."""

    baud: int = 250_000
    late_ms: float = 100.0


@dataclass(slots=True)
class Machine:
    """A whole emulated machine; an axis that is not there has no rod."""

    name: str = "machine"
    seed: int = 1
    supply: Supply = field(default_factory=Supply)
    board: BoardFigures = field(default_factory=BoardFigures)
    line: LineFigures = field(default_factory=LineFigures)
    rods: dict[int, Rod] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    inputs: list[Input] = field(default_factory=list)


def default_text() -> str:
    """The packaged plant of the demo: a ridge vent with two rods, all figures invented."""
    return (resources.files("rodbench.emulator") / "plants" / "ridge_vent.toml").read_text("utf-8")


def default_machine() -> Machine:
    """The packaged plant, read."""
    return parse(default_text(), "ridge_vent.toml")


def load(path: str | Path) -> Machine:
    """Read a plant file; SettingsError with file and line when it cannot be meant."""
    try:
        text = Path(path).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "it is not UTF-8 text"
        raise SettingsError(
            f"{path}: cannot be read: {reason}", kept=KEPT, hint="check the name after --plant"
        ) from problem
    return parse(text, str(path))


def parse(text: str, name: str) -> Machine:
    """A machine from the text of a plant file; `name` stands in the errors."""
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise _not_toml(text, name, problem) from problem
    return _Reader(text, name).machine(tree)


def _not_toml(text: str, name: str, problem: tomllib.TOMLDecodeError) -> SettingsError:
    found = re.search(r"line (\d+)", str(problem))
    lines = text.splitlines() or [""]
    number = int(found.group(1)) if found else len(lines)
    line = lines[min(number, len(lines)) - 1].strip()
    hint = "one `key = value` on a line"
    if re.search(r"=\s*-?\d+,\d", line):
        hint = "that is a decimal comma: write a point"
    return SettingsError(f"{name}:{number}: not TOML: {line}", kept=KEPT, hint=hint)


class _Reader:
    """Walks the parsed tree, knowing where each key stands in the text."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self.lines = _key_lines(text)

    def machine(self, tree: dict[str, Any]) -> Machine:
        top = {key: value for key, value in tree.items() if key in BY_TABLE[""]}
        if "plant_file" not in tree:
            raise self._error((), "plant_file = 1 is missing", hint="begin the file with it")
        self._only(tree, [*BY_TABLE[""], "supply", "board", "line", "axes", "faults", "inputs"], ())
        values = self._values(top, BY_TABLE[""], ())
        values.pop("plant_file")
        machine = Machine(
            **values,
            supply=Supply(**self._table(tree, "supply")),
            board=self._board(tree),
            line=LineFigures(**self._table(tree, "line")),
        )
        for axis, part in self._sub(tree, "axes", ()).items():
            if axis not in ("1", "2"):
                raise self._error(("axes", axis), f"there is no axis {axis}", hint="1 or 2")
            machine.rods[int(axis)] = self._rod(part, ("axes", axis))
            self._fits_board(machine, int(axis))
        machine.faults = self._faults(tree, set(machine.rods))
        machine.inputs = [
            self._input(entry, index) for index, entry in enumerate(self._list(tree, "inputs"))
        ]
        return machine

    def _board(self, tree: dict[str, Any]) -> BoardFigures:
        values = self._table(tree, "board")
        if values.get("kind") in SUPPLIES_V:
            values.setdefault("reference_v", SUPPLIES_V[values["kind"]])
        return BoardFigures(**values)

    def _fits_board(self, machine: Machine, axis: int) -> None:
        kind, driver = machine.board.kind, machine.rods[axis].driver.kind
        path: tuple[str, ...] = ("axes", str(axis))
        if axis == 2 and kind == "posix-3v3":
            raise self._error(path, f"{kind} has one axis", hint="leave axes.2 out")
        if axis == 2 and driver == "two-pwm-inputs":
            path = (*path, "driver", "kind")
            raise self._error(path, f"{driver} takes both PWM pins: for axis 1 alone")
        if axis == 2 and 1 in machine.rods and machine.rods[1].driver.kind == "two-pwm-inputs":
            raise self._error(path, "axis 1 has both PWM pins: axis 2 cannot be there")

    def _rod(self, tree: Any, path: tuple[str, ...]) -> Rod:
        if not isinstance(tree, dict):
            raise self._error(path, "is not a table", hint=f"write [{'.'.join(path)}]")
        own = BY_TABLE["axes.N"]
        self._only(tree, [*own, *PARTS], path)
        values = self._values({k: v for k, v in tree.items() if k not in PARTS}, own, path)
        for part, kind in PARTS.items():
            keys = BY_TABLE[f"axes.N.{part}"]
            sub = self._sub(tree, part, path)
            self._only(sub, list(keys), (*path, part))
            values[part] = kind(**self._values(sub, keys, (*path, part)))
        rod = Rod(**values)
        if rod.start_mm > rod.stroke_mm:
            raise self._error((*path, "start_mm"), "start_mm lies beyond stroke_mm")
        if abs(rod.pot.extended - rod.pot.retracted) < 0.01:
            raise self._error(
                (*path, "pot", "extended"), "the pot reads the same at both ends of travel"
            )
        self._mounted(rod, (*path, "mount"))
        return rod

    def _mounted(self, rod: Rod, path: tuple[str, ...]) -> None:
        low, high = rod.mount.min_mm, rod.mount.max_mm or rod.stroke_mm
        if not low < high <= rod.stroke_mm:
            key = "max_mm" if rod.mount.max_mm else "min_mm"
            raise self._error((*path, key), "the machine's ends lie crosswise or beyond stroke_mm")
        if not low <= rod.start_mm <= high:
            raise self._error((*path[:-1], "start_mm"), "start_mm lies beyond the machine's ends")

    def _faults(self, tree: dict[str, Any], axes: set[int]) -> list[Fault]:
        entries = self._list(tree, "faults")
        return [self._fault(entry, index, axes) for index, entry in enumerate(entries)]

    def _list(self, tree: dict[str, Any], name: str) -> list[dict[str, Any]]:
        entries = tree.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise self._error((name,), f"{name} is not a list of tables", hint=f"[[{name}]]")
        return entries

    def _input(self, entry: dict[str, Any], index: int) -> Input:
        keys, path = BY_TABLE["inputs[]"], ("inputs", str(index))
        self._only(entry, list(keys), path)
        values = self._values(entry, keys, path)
        if "kind" not in values:
            raise self._error(path, "this input has no kind", hint=KEYS_HINT)
        step = Input(**values)
        if not step.value <= INPUT_KINDS[step.kind].top:
            top = INPUT_KINDS[step.kind].top
            raise self._error((*path, "value"), f"{step.kind} goes from 0 to {top:g}")
        return step

    def _fault(self, entry: dict[str, Any], index: int, axes: set[int]) -> Fault:
        keys, path = BY_TABLE["faults[]"], ("faults", str(index))
        self._only(entry, list(keys), path)
        values = self._values(entry, keys, path)
        if "kind" not in values:
            raise self._error(path, "this fault has no kind", hint=KEYS_HINT)
        fault = Fault(**{"value": KINDS[values["kind"]].default, **values})
        on_rod = KINDS[fault.kind].place == "rod"
        if on_rod and fault.axis not in axes:
            raise self._error((*path, "axis"), f"{fault.kind} needs the axis of a rod, 1 or 2")
        if fault.kind == "jam" and "value" not in entry:
            raise self._error(path, "jam needs value, the position in mm")
        return fault

    def _table(self, tree: dict[str, Any], name: str) -> dict[str, Any]:
        keys = BY_TABLE[name]
        sub = self._sub(tree, name, ())
        self._only(sub, list(keys), (name,))
        return self._values(sub, keys, (name,))

    def _sub(self, tree: dict[str, Any], name: str, path: tuple[str, ...]) -> dict[str, Any]:
        sub = tree.get(name, {})
        if not isinstance(sub, dict):
            where = (*path, name)
            raise self._error(where, f"{name} is not a table", hint=f"write [{'.'.join(where)}]")
        return sub

    def _values(
        self, given: dict[str, Any], keys: dict[str, Key], path: tuple[str, ...]
    ) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for name, value in given.items():
            problem = keys[name].problem(value)
            if problem:
                shown = f'"{value}"' if isinstance(value, str) else value
                raise self._error((*path, name), f"{name} = {shown} {problem}")
            values[name] = float(value) if isinstance(keys[name].default, float) else value
        return values

    def _only(self, given: dict[str, Any], allowed: list[str], path: tuple[str, ...]) -> None:
        for name in given:
            if name in allowed:
                continue
            near = difflib.get_close_matches(name, allowed, n=3, cutoff=0.4)
            where = ".".join(path) or "the file's top"
            text = f"{where} has no key '{name}'"
            hint = f"near to it: {', '.join(near)}. {KEYS_HINT}" if near else KEYS_HINT
            raise self._error((*path, name), text, hint=hint)

    def _error(
        self, path: tuple[str, ...], text: str, hint: str | None = KEYS_HINT
    ) -> SettingsError:
        line = 1
        while path:
            if path in self.lines:
                line = self.lines[path]
                break
            path = path[:-1]
        return SettingsError(f"{self.name}:{line}: {text}", kept=KEPT, hint=hint)


def _key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Where each key and table header stands, by its path; entries of a list are numbered."""
    found: dict[tuple[str, ...], int] = {}
    lists: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*(\[{1,2})\s*([^\]]+?)\s*\]", line)
        key = re.match(r"\s*([\w.\-\"']+)\s*=", line)
        if header:
            table = _path(header.group(2))
            if header.group(1) == "[[":
                lists[table] = lists.get(table, -1) + 1
                table = (*table, str(lists[table]))
            found.setdefault(table, number)
        elif key:
            found.setdefault((*table, *_path(key.group(1))), number)
    return found


def _path(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def dump(machine: Machine) -> str:
    """The text of a plant file that reads back as `machine`."""
    lines = ["plant_file = 1", f'name = "{machine.name}"', f"seed = {machine.seed}"]
    for table in ("supply", "board", "line"):
        lines += _dump_table(f"[{table}]", getattr(machine, table), set())
    for axis, rod in machine.rods.items():
        lines += _dump_table(f"[axes.{axis}]", rod, set(PARTS))
        for part in PARTS:
            lines += _dump_table(f"[axes.{axis}.{part}]", getattr(rod, part), set())
    for fault in machine.faults:
        lines += _dump_table("[[faults]]", fault, set())
    for step in machine.inputs:
        lines += _dump_table("[[inputs]]", step, set())
    return "\n".join(lines) + "\n"


def _dump_table(header: str, values: Any, leave_out: set[str]) -> list[str]:
    lines = ["", header]
    for entry in fields(values):
        if entry.name not in leave_out:
            value = getattr(values, entry.name)
            text = str(value).lower() if isinstance(value, bool) else repr(value)
            lines.append(f"{entry.name} = " + (f'"{value}"' if isinstance(value, str) else text))
    return lines
