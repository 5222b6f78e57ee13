"""The logbook of a machine: what was done, when, and under which settings.

A folder `logbook` beside the machine file with one file, `log.jsonl`: one JSON object a line,
appended and flushed to the disk before `append` returns. Lines are never rewritten. A line that a
power cut tore is left where it is, skipped when reading, and said.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rodbench import durable
from rodbench.errors import RodbenchError

FOLDER = "logbook"
FILE = "log.jsonl"


class LogbookError(RodbenchError):
    """A logbook that cannot be read or written."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: `date` in ISO 8601 UTC, `kind` a word, `digest` of the settings in force."""

    date: str
    kind: str
    digest: str | None
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Skipped:
    """A line that could not be read, with its number from 1 and how it begins."""

    line: int
    start: str

    def __str__(self) -> str:
        return f"logbook line {self.line} is torn or damaged, skipped: {self.start!r}"


class Logbook:
    """Append-only record in `folder`; the folder is made by the first entry."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / FILE

    @classmethod
    def beside(cls, machine_file: Path) -> Logbook:
        """The logbook that belongs to a machine file."""
        return cls(machine_file.parent / FOLDER)

    def append(self, kind: str, *, digest: int | None = None, **data: Any) -> Entry:
        """Add an entry, on the disk when this returns. Raises LogbookError when that fails."""
        date = datetime.now(UTC).isoformat(timespec="milliseconds")
        entry = Entry(date, kind, None if digest is None else f"{digest:08X}", data)
        head = {"date": entry.date, "kind": entry.kind, "digest": entry.digest}
        line = json.dumps({**head, **data}, ensure_ascii=False, default=str) + "\n"
        try:
            self._write(line.encode())
        except OSError as error:
            raise LogbookError(
                f"{self.path} cannot be written: {error.strerror or error}",
                kept="what was done before stands; its line in the logbook is missing",
                hint="is the disk full, or the folder another's?",
            ) from None
        return entry

    def read(self) -> tuple[list[Entry], list[Skipped]]:
        """All entries in order, and the lines that could not be read. Raises LogbookError."""
        entries: list[Entry] = []
        skipped: list[Skipped] = []
        for number, text in self._lines():
            entry = _parse(text)
            if entry is None:
                skipped.append(Skipped(number, text[:40]))
            else:
                entries.append(entry)
        return entries, skipped

    def has(self, kind: str) -> bool:
        """Whether an entry of this kind was ever made."""
        return any(entry.kind == kind for entry in self.read()[0])

    def _lines(self) -> Iterator[tuple[int, str]]:
        if not self.path.exists():
            return
        try:
            text = self.path.read_bytes().decode("utf-8", errors="replace")
        except OSError as error:
            raise LogbookError(
                f"{self.path} cannot be read: {error.strerror or error}", kept="it stays as it is"
            ) from None
        for number, line in enumerate(text.split("\n"), start=1):
            if line.strip():
                yield number, line

    def _write(self, line: bytes) -> None:
        fresh = not self.path.exists()
        self.folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            # A torn tail keeps its place: the new entry starts on a line of its own.
            line = (b"\n" if _torn(handle) else b"") + line
            while line:
                line = line[os.write(handle, line) :]
            os.fsync(handle)
        finally:
            os.close(handle)
        if fresh:
            durable.sync_folder(self.folder)


def _torn(handle: int) -> bool:
    size = os.lseek(handle, 0, os.SEEK_END)
    if size == 0:
        return False
    os.lseek(handle, size - 1, os.SEEK_SET)
    return os.read(handle, 1) != b"\n"


def _parse(text: str) -> Entry | None:
    try:
        fields = json.loads(text)
        return Entry(fields.pop("date"), fields.pop("kind"), fields.pop("digest"), fields)
    except (ValueError, KeyError, AttributeError, TypeError):
        return None
