"""Proof runs of a machine: what was required, what was measured, and every stroke as a table.

A folder `runs` beside the machine file has one folder for each run, `2026-05-04T10-11-12Z-proof`,
with a CSV file for each stroke and, written last, `proof.toml`. A folder without `proof.toml` is a
run that was broken off (or is under way): it is told and left out. `proof.toml` names each table
with its SHA-256, so that one which was cut or edited later is told as well. Nothing in a run is
changed after. `baseline.toml` says which run of each axis the later ones are compared with.
"""

from __future__ import annotations

import hashlib
import io
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rodbench import durable
from rodbench.errors import RodbenchError, UsageError

FOLDER, FILE, BASELINE = "runs", "proof.toml", "baseline.toml"
SUFFIX = "-proof"
VERSION = 1
COLUMNS = {"t_s": 3, "position_mm": 4, "current_a": 4, "output_permille": 0, "supply_v": 3}
_TOP = ("date", "axis", "rod", "settings", "passed")
KEPT = "Nothing was changed; the run stays as it is."
Floats = npt.NDArray[np.float64]


class RunError(RodbenchError):
    """A run that is not whole, or not there."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Stroke:
    """One motion. `facts` say what it was (`kind`, `way`, what was asked for) and how it ended;
    the columns are of equal length: s from its start, mm, A, permille of full output with its sign,
    V at the supply as read."""

    name: str
    facts: Mapping[str, Any]
    t_s: Floats
    position_mm: Floats
    current_a: Floats
    output_permille: Floats
    supply_v: Floats


@dataclass(frozen=True, slots=True)
class Requirement:
    """One line of the table. `limit` is "at most" or "at least"; `source` says where the required
    value is from. `measured` None: it could not be measured, and `why` says so."""

    what: str
    unit: str
    limit: str
    required: float
    measured: float | None
    source: str
    why: str = ""

    @property
    def margin(self) -> float | None:
        """What is left to the required value, in its unit; below 0 it is missed."""
        if self.measured is None:
            return None
        left = self.required - self.measured
        return left if self.limit == "at most" else -left

    @property
    def passed(self) -> bool:
        """Whether it was measured and holds."""
        return self.margin is not None and self.margin >= 0.0


@dataclass(frozen=True, slots=True)
class Run:
    """A whole run. `date` is ISO 8601 UTC, `settings` the digest in force as eight hex digits,
    `conditions` what it was run under and found beside the strokes."""

    name: str
    date: str
    axis: int
    rod: str
    settings: str
    conditions: Mapping[str, Any]
    required: tuple[Requirement, ...]
    strokes: tuple[Stroke, ...] = field(repr=False)

    @property
    def passed(self) -> bool:
        """Whether every requirement holds."""
        return all(line.passed for line in self.required)


class Writer:
    """A run that is being written: `stroke` keeps a table, and `finish` makes the run count."""

    def __init__(self, machine_folder: Path, now: datetime | None = None) -> None:
        self.date = (now or datetime.now(UTC)).astimezone(UTC)
        self.folder = _fresh(machine_folder / FOLDER, self.date)
        self._strokes: list[dict[str, Any]] = []

    @property
    def name(self) -> str:
        """The run's name."""
        return self.folder.name

    def stroke(self, stroke: Stroke) -> None:
        """Keep one stroke, on the disk when this returns. Raises OSError."""
        data, file = _csv(stroke), f"{stroke.name}.csv"
        durable.replace(self.folder / file, data)
        digest = hashlib.sha256(data).hexdigest()
        rows = len(stroke.t_s)
        head = {"name": stroke.name, "file": file, "rows": rows, "sha256": digest}
        self._strokes.append(head | _without_none(stroke.facts))

    def finish(
        self,
        *,
        axis: int,
        rod: str,
        settings: int,
        conditions: Mapping[str, Any],
        required: Sequence[Requirement],
    ) -> Run:
        """Write `proof.toml`: from then on the run is whole. Raises OSError."""
        durable.sync_folder(self.folder)
        head: dict[str, Any] = {"run": VERSION, "date": self.date.isoformat(timespec="seconds")}
        head |= {"axis": axis, "rod": rod, "settings": f"{settings:08X}"}
        head["passed"] = all(line.passed for line in required)
        head["conditions"] = _without_none(conditions)
        head["required"] = [_line(line) for line in required]
        head["strokes"] = self._strokes
        durable.replace(self.folder / FILE, _toml(head))
        durable.sync_folder(self.folder)
        durable.sync_folder(self.folder.parent)
        return read(self.folder)


def read_all(machine_folder: Path) -> tuple[list[Run], list[str]]:
    """Whole runs in the order of their dates, and a sentence for each folder that is none."""
    runs: list[Run] = []
    told: list[str] = []
    for name in names(machine_folder):
        try:
            runs.append(read(machine_folder / FOLDER / name))
        except RunError as error:
            told.append(error.message)
    return sorted(runs, key=lambda run: (run.date, run.name)), told


def names(machine_folder: Path) -> list[str]:
    """Names of all runs, whole or not, in the order of their dates."""
    folder = machine_folder / FOLDER
    if not folder.is_dir():
        return []
    return sorted(p.name for p in folder.iterdir() if p.is_dir() and SUFFIX in p.name)


def read(folder: Path) -> Run:
    """One run, by its own folder. Raises RunError for one that is not whole."""
    head = _head(folder)
    try:
        strokes = tuple(_stroke(folder, entry) for entry in head["strokes"])
        required = tuple(_requirement(entry) for entry in head["required"])
        date, axis, rod, settings, _ = (head[key] for key in _TOP)
        return Run(
            folder.name, date, axis, rod, settings, head["conditions"], required, strokes
        )  # fmt: skip
    except (KeyError, TypeError, AttributeError) as error:
        raise _damaged(folder, f"{FILE} does not say {error}") from None


@dataclass(frozen=True, slots=True)
class Table:
    """Where the rows of a stroke lie, and how many: for those who read them block by block."""

    name: str
    facts: Mapping[str, Any]
    path: Path
    rows: int
    sha256: str


def outline(folder: Path) -> tuple[Run, tuple[Table, ...]]:
    """A run without the rows of its strokes, and where those lie. Raises RunError for one that is
    not whole; whether a table is as it was written shows when it is read."""
    head = _head(folder)
    try:
        tables = tuple(_table(folder, entry) for entry in head["strokes"])
        required = tuple(_requirement(entry) for entry in head["required"])
        date, axis, rod, settings, _ = (head[key] for key in _TOP)
        run = Run(folder.name, date, axis, rod, settings, head["conditions"], required, ())
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise _damaged(folder, f"{FILE} does not say {error}") from None
    return run, tables


def _table(folder: Path, entry: Mapping[str, Any]) -> Table:
    facts = dict(entry)
    name, file, rows, digest = (facts.pop(key) for key in ("name", "file", "rows", "sha256"))
    return Table(name, facts, folder / Path(file).name, rows, digest)


def baseline_name(machine_folder: Path, axis: int) -> str | None:
    """Name of the run that later ones of an axis are compared with; None: there is none yet."""
    path = machine_folder / FOLDER / BASELINE
    try:
        name = tomllib.loads(path.read_text("utf-8")).get(f"axis_{axis}")
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise RunError(f"{path} cannot be read: {error}", kept=KEPT) from None
    return None if name is None else str(name)


def set_baseline(machine_folder: Path, axis: int, name: str) -> None:
    """Make a run the one that later ones of its axis are compared with. Raises OSError."""
    axes = (1, 2)
    kept = {f"axis_{one}": baseline_name(machine_folder, one) for one in axes}
    kept[f"axis_{axis}"] = name
    folder = machine_folder / FOLDER
    durable.replace(folder / BASELINE, _toml(_without_none(kept)))
    durable.sync_folder(folder)


def find(machine_folder: Path, text: str) -> Run:
    """The run that a person means: its whole name, or a part that no other has.

    Raises UsageError where it is not clear which, RunError for one that is not whole."""
    known = names(machine_folder)
    found = [text] if text in known else [name for name in known if text in name]
    if len(found) == 1:
        return read(machine_folder / FOLDER / found[0])
    which = "no run is called" if not found else "more than one run is called"
    listed = ", ".join(found or known[-5:]) or "there is none yet: rodbench proof"
    raise UsageError(f"{which} '{text}'", kept=KEPT, hint=f"runs: {listed}")


# ---------------------------------------------------------------- files


def _fresh(runs: Path, date: datetime) -> Path:
    """A new folder; two runs within one second are told apart by a number."""
    runs.mkdir(parents=True, exist_ok=True)
    stem = f"{date:%Y-%m-%dT%H-%M-%SZ}{SUFFIX}"
    for number in range(1, 1000):
        folder = runs / (stem if number == 1 else f"{stem}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        durable.sync_folder(runs)
        return folder
    raise RunError(f"{runs} is full of runs of this second", kept=KEPT)


def _csv(stroke: Stroke) -> bytes:
    text = io.StringIO()
    text.write(",".join(COLUMNS) + "\n")
    columns = [getattr(stroke, name) for name in COLUMNS]
    np.savetxt(text, np.column_stack(columns), [f"%.{d}f" for d in COLUMNS.values()], ",")
    return text.getvalue().encode()


def _toml(tree: Mapping[str, Any]) -> bytes:
    import tomlkit

    return tomlkit.dumps(tree).encode()


def _line(line: Requirement) -> dict[str, Any]:
    keys = ("what", "unit", "limit", "required", "measured", "source", "why")
    written = {key: getattr(line, key) for key in keys}
    return _without_none(written | {"passed": line.passed})


def _without_none(tree: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in tree.items() if value is not None}


def _head(folder: Path) -> dict[str, Any]:
    path = folder / FILE
    try:
        head = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise RunError(
            f"{folder.name} was broken off, or is under way: it has no {FILE}, and is left out",
            kept=KEPT,
        ) from None
    except (OSError, ValueError) as error:
        raise _damaged(folder, str(error)) from None
    if head.get("run") != VERSION:
        raise RunError(f"{folder.name} is of another version ({head.get('run')})", kept=KEPT)
    return head


def _damaged(folder: Path, why: str) -> RunError:
    return RunError(f"{folder.name} is damaged, and is left out: {why}", kept=KEPT)


def _requirement(entry: Mapping[str, Any]) -> Requirement:
    return Requirement(
        entry["what"], entry["unit"], entry["limit"], float(entry["required"]),
        None if "measured" not in entry else float(entry["measured"]),
        entry["source"], entry.get("why", ""),
    )  # fmt: skip


def _stroke(folder: Path, entry: Mapping[str, Any]) -> Stroke:
    facts = dict(entry)
    name, file, rows, digest = (facts.pop(key) for key in ("name", "file", "rows", "sha256"))
    try:
        data = (folder / file).read_bytes()
    except OSError as error:
        raise _damaged(folder, f"{file}: {error.strerror or error}") from None
    if hashlib.sha256(data).hexdigest() != digest:
        raise _damaged(folder, f"{file} is not as it was written")
    table = np.loadtxt(io.BytesIO(data), delimiter=",", skiprows=1, ndmin=2)
    table = table.reshape(rows, len(COLUMNS))
    return Stroke(name, facts, *(np.ascontiguousarray(column) for column in table.T))


__all__ = [
    "Requirement",
    "Run",
    "RunError",
    "Stroke",
    "Table",
    "Writer",
    "baseline_name",
    "find",
    "names",
    "outline",
    "read",
    "read_all",
    "set_baseline",
]
