"""A recording as CSV or Parquet: the units are in the columns' names, and all that the header says
goes along. Block by block, so that a long one takes no more memory."""

from __future__ import annotations

import contextlib
import csv
import json
import math
import os
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from rodbench_protocol.names import AxisFlags, AxisState, EventKind
from rodbench_protocol.schema import load_schema

from rodbench.record.layout import TABLES, RecordingError
from rodbench.record.recording import Recording
from rodbench.record.tables import Columns, Table

# ends of wire names, the ends that they become, and by what the numbers are divided
UNITS = (("_um_s", "_mm_s"), ("_um", "_mm"), ("_ma", "_a"), ("_mv", "_v"), ("_ms", "_s"))
THOUSAND = 1000.0
WORDS: dict[tuple[str, str], Any] = {("axis", "state"): AxisState, ("event", "kind"): EventKind}
FEW = {"t_s": 4, "host_s": 6}  # digits
NEAR_S = 1e-4  # to which times are rounded
_CALIBRATED = ("position_um", "speed_um_s", "reference_um")


class Sink(Protocol):
    """What takes the rows of one table."""

    def add(self, columns: Columns) -> None:
        """Some rows."""
        ...

    def close(self) -> None:
        """All rows have come."""
        ...

    def drop(self) -> None:
        """Let go of the file, whatever became of it; safe to repeat."""
        ...


def facts(recording: Recording) -> dict[str, Any]:
    """Header, gaps, marks and changes of the settings, and the board's clock, as JSON has them."""
    clock = recording.board_clock
    return {
        **{k: v for k, v in recording.header.items() if k != "columns"},
        "file": recording.path.name, "seconds": recording.duration_s, "frames": recording.frames,
        "ended": recording.ended, "repaired": recording.repaired,
        "gaps": [
            {"from_s": g.start_s, "to_s": g.end_s, "why": g.why, "frames_missing": g.missed}
            for g in recording.gaps
        ],
        "marks": [{**mark, "t_s": t_s} for t_s, mark in recording.marks],
        "settings": [
            {"from_s": c.t_s, "digest": c.digest, "scopes": c.scopes} for c in recording.settings
        ],
        "board_clock_ppm": clock.ppm, "board_clock_ppm_either_way": clock.ppm_either_way,
    }  # fmt: skip


def to_csv(recording: Recording, out: Path, start_s: float, end_s: float) -> list[Path]:
    """`OUT.csv` with all axes, `OUT-board.csv`, `OUT-event.csv` and `OUT.json` with the facts.
    Raises RecordingError, and leaves no half file."""
    return _export(recording, out, start_s, end_s, _CsvSink, (".json",))


def to_parquet(recording: Recording, out: Path, start_s: float, end_s: float) -> list[Path]:
    """As `to_csv`; the facts are in the metadata of each file, under `rodbench`."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        raise RecordingError(
            "Parquet needs the package pyarrow, which is not installed",
            kept="nothing was written",
            hint="pip install 'rodbench[parquet]', or --csv",
        ) from None
    return _export(recording, out, start_s, end_s, _ParquetSink, ())


def _export(
    recording: Recording,
    out: Path,
    start_s: float,
    end_s: float,
    sink: Callable[[Path, Mapping[str, Any]], Sink],
    ends: tuple[str, ...],
) -> list[Path]:
    """`ends`: of the names in which the facts are written by themselves."""
    if not out.name:
        raise RecordingError(f"'{out}' is no name for a file", kept="nothing was written")
    places = {name: out if name == "axis" else _beside(out, name) for name in TABLES}
    apart = [out.with_suffix(end) for end in ends]
    written = [*places.values(), *apart]
    _check_free(written)
    said = facts(recording)
    try:
        with _left_whole(written) as fresh, contextlib.ExitStack() as stack:
            sinks = {name: sink(fresh[path], said) for name, path in places.items()}
            for each in sinks.values():
                stack.callback(each.drop)
            for columns, name in _pieces(recording, start_s, end_s):
                sinks[name].add(columns)
            for each in sinks.values():
                each.close()
            for path in apart:
                fresh[path].write_text(json.dumps(said, ensure_ascii=False, indent=1), "utf-8")
    except OSError as error:
        raise RecordingError(
            f"{out}: {error.strerror or error}", kept="nothing was written"
        ) from None
    return written


def _check_free(paths: list[Path]) -> None:
    """Nothing is written over, nor two tables into one file. Raises RecordingError."""
    for number, path in enumerate(paths):
        there = os.path.lexists(path)  # False where the name is none: writing says so
        why = f"{path} is there already" if there else f"{path} would be written twice"
        if there or path in paths[:number]:
            raise RecordingError(why, kept="nothing was written", hint="give another name")


def _beside(out: Path, table: str) -> Path:
    return out.with_name(f"{out.stem}-{table}{out.suffix}")


@contextlib.contextmanager
def _left_whole(paths: list[Path]) -> Iterator[dict[Path, Path]]:
    """Where to write each; put in place together behind the last, or all taken away."""
    fresh = {path: path.with_name(f".{path.name}.part") for path in paths}
    try:
        yield fresh
        for path, part in fresh.items():
            part.replace(path)
    except BaseException:
        for part in fresh.values():
            part.unlink(missing_ok=True)
        raise


def _pieces(recording: Recording, start_s: float, end_s: float) -> Iterator[tuple[Columns, str]]:
    """Rows of one table after the other, converted, some thousands at a time."""
    made = _Converter(recording)
    for name in TABLES:
        for found in recording.pieces(name, start_s, end_s):
            yield made.columns(found, name, start_s, end_s), name


class _Converter:
    """From a table's columns to those for others."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        self._settings = recording.settings
        self._ends = np.array([gap.end_s for gap in recording.gaps])
        self._last_s = -math.inf

    def names(self, table: str) -> list[str]:
        """Names of a table's columns."""
        fields = load_schema().messages[TABLES[table]].body.fields
        units = [name for f in fields if (name := _named(f.name)[0]) not in ("tick", "axis")]
        head = ["t_s", "host_s", "tick_5ms", "counter"] + (["axis"] if table != "board" else [])
        return [*head, *units, *(["gap_before"] if table == "axis" else []), "settings_digest"]

    def columns(self, found: Table, table: str, start_s: float, end_s: float) -> Columns:
        """Those of a time, in the order in which they came."""
        kept = (found.t_s >= start_s) & (found.t_s <= end_s)
        order = np.argsort(found["order"][kept], kind="stable")
        made = {name: self._column(found, table, name)[kept][order] for name in self.names(table)}
        if table == "axis" and len(made["t_s"]):
            made["gap_before"] = self._after_gap(made)
            self._last_s = float(made["t_s"].max())
        return made

    def _column(self, found: Table, table: str, name: str) -> Any:
        if name in FEW:
            return found[name].round(FEW[name])
        if name == "tick_5ms":
            return found["tick"]
        if name == "gap_before":
            return np.zeros(len(found), np.int64)
        if name == "settings_digest":
            return self._digests(found.t_s)
        if (table, name) in WORDS:
            return np.array([_word(WORDS[table, name], v) for v in found[name].tolist()], object)
        wire = _wire_name(table, name)
        values = found.get(wire)
        if wire == name:
            return values
        values = values / THOUSAND
        if table == "axis" and wire in _CALIBRATED:
            values[(found["flags"] & int(AxisFlags.CALIBRATED)) == 0] = np.nan
        return values

    def _digests(self, t_s: Any) -> Any:
        begins = np.array([change.t_s for change in self._settings])
        places = np.maximum(np.searchsorted(begins, t_s, side="right") - 1, 0)
        return np.array([change.digest for change in self._settings], object)[places]

    def _after_gap(self, made: Columns) -> Any:
        """1 in the first row of each axis behind a gap."""
        flags = np.zeros(len(made["t_s"]), np.int64)
        last_s = made["t_s"].max()
        for end_s in self._ends[(self._ends > self._last_s) & (self._ends <= last_s + NEAR_S)]:
            for axis in self._recording.axes:
                behind = np.nonzero((made["t_s"] >= end_s - NEAR_S) & (made["axis"] == axis))[0]
                flags[behind[:1]] = 1
        return flags


def _named(wire: str) -> tuple[str, str]:
    """A wire name's name for others, and itself."""
    for end, becomes in UNITS:
        if wire.endswith(end):
            return wire.removesuffix(end) + becomes, wire
    return wire, wire


def _wire_name(table: str, name: str) -> str:
    fields = load_schema().messages[TABLES[table]].body.fields
    return next((f.name for f in fields if _named(f.name)[0] == name), name)


def _word(kind: Any, number: int) -> str:
    try:
        return str(kind(number).name).lower()
    except ValueError:
        return str(number)


class _CsvSink:
    def __init__(self, path: Path, said: Mapping[str, Any]) -> None:
        self._file = path.open("w", newline="", encoding="utf-8")
        self._writer = csv.writer(self._file)
        self._head = False

    def add(self, columns: Columns) -> None:
        if not self._head:
            self._writer.writerow(columns)
            self._head = True
        lists = [_texts(column) for column in columns.values()]
        self._writer.writerows(zip(*lists, strict=True))

    def close(self) -> None:
        self._file.close()

    def drop(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()


def _texts(column: Any) -> list[Any]:
    """Empty where there is no number."""
    if column.dtype.kind != "f" or not np.isnan(column).any():
        return list(column.tolist())
    return ["" if math.isnan(value) else value for value in column.tolist()]


class _ParquetSink:
    def __init__(self, path: Path, said: Mapping[str, Any]) -> None:
        self._path = path
        self._said = {"rodbench": json.dumps(said, ensure_ascii=False)}
        self._writer: Any = None

    def add(self, columns: Columns) -> None:
        import pyarrow as pa
        from pyarrow import parquet

        arrays = {name: _array(pa, name, column) for name, column in columns.items()}
        table = pa.table(arrays).replace_schema_metadata(self._said)
        if self._writer is None:
            self._writer = parquet.ParquetWriter(self._path, table.schema, compression="zstd")
        self._writer.write_table(table)

    def close(self) -> None:
        if self._writer is not None:
            self._writer.close()

    def drop(self) -> None:
        if self._writer is not None:
            with contextlib.suppress(OSError):
                self._writer.close()
            self._writer.is_open = False  # else it tries once more at its end, and complains


def _array(pa: Any, name: str, column: Any) -> Any:
    """Words as words even where there is no row, numbers that are not there as null."""
    if name in ("settings_digest", *(word for _, word in WORDS)):
        return pa.array([str(value) for value in column.tolist()], pa.string())
    return pa.array(column, from_pandas=True)
