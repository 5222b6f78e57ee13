"""Changes of settings from a page, by the way of the command: the machine file, then the board.

`changes` are wire values by scope and key. With a machine file they are put into it, its rules and
the board's check everything before the first change, and the file is saved once the board has them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from rodbench.board import Board
from rodbench.errors import Refused, SettingsError
from rodbench.record.logbook import Logbook, LogbookError
from rodbench.settings import transfer
from rodbench.settings.keys import by_wire
from rodbench.settings.machine import MachineFile
from rodbench.settings.transfer import Difference

Changes: TypeAlias = Mapping[int, Mapping[str, int]]
NAMES_KIND = "atmega328p-5v"  # where no file tells the kind; keys have the same names on all


@dataclass(frozen=True, slots=True)
class Committed:
    """What is in force now."""

    changed: list[Difference]
    digest: int
    stored: bool
    notes: list[str]


def check(board: Board, path: Path | None, changes: Changes) -> list[str]:
    """What stands against them, in sentences; empty: nothing does. Changes nothing."""
    try:
        differences(board, path, changes)
    except (SettingsError, Refused) as error:
        return [" ".join(text for text in (f"{error.message}.", error.hint) if text)]
    return []


def differences(board: Board, path: Path | None, changes: Changes) -> list[Difference]:
    """All that a commit would change on the board, checked. Raises SettingsError, Refused."""
    if path is not None:
        return transfer.check_on(_with(path, changes), board)
    found = _on_board(board, changes)
    for scope in {difference.scope for difference in found}:
        board.check_scope(scope, dict(changes[scope]))
    return found


def commit(board: Board, path: Path | None, changes: Changes, store: bool) -> Committed:
    """Put them in force; `store` also keeps them. Raises as differences does, nothing changed."""
    if path is None:
        return _commit_board(board, changes, store)
    machine = _with(path, changes)
    done = transfer.push(machine, board, until_reset=not store)
    try:
        machine.save()
    except OSError as error:
        raise SettingsError(
            f"{path} could not be written: {error}",
            kept="The board has the new settings; the file still has the old ones.",
            hint="`rodbench settings pull` writes them into the file once it can be written.",
        ) from None
    told = [
        {"scope": d.scope, "key": d.name, "file": d.shown(d.in_file), "board": d.shown(d.on_board)}
        for d in done.changed
    ]
    notes = [*done.notes, *machine.remarks]
    try:
        Logbook.beside(path).append(
            "push", digest=done.digest, changed=told, stored=store, by="page"
        )
    except LogbookError as error:  # the settings are in force all the same
        notes.append(error.message)
    return Committed(done.changed, done.digest, store, notes)


def _with(path: Path, changes: Changes) -> MachineFile:
    machine = MachineFile.load(path)
    for scope, values in changes.items():
        machine.put(scope, values)
    return machine


def _on_board(board: Board, changes: Changes) -> list[Difference]:
    found = []
    for scope, values in changes.items():
        live = board.read_scope(scope)
        for wire, value in values.items():
            if live[wire] != value:
                key = by_wire(NAMES_KIND).get(("axis" if scope else "board", wire))
                table = f"axes.{scope}" if scope else "board"
                found.append(Difference(scope, table, wire, key, value, live[wire]))
    return found


def _commit_board(board: Board, changes: Changes, store: bool) -> Committed:
    found = differences(board, None, changes)
    for scope in sorted({difference.scope for difference in found}):
        board.write_scope(scope, dict(changes[scope]))
    if store:
        board.store()
    return Committed(found, board.digests()["live"], store, [])
