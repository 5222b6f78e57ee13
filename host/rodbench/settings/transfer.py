"""Settings between a machine file and a board: diff, push, pull.

A push checks every scope on the board before it changes the first, commits each scope whole, and
compares digests at the end. Endpoints, stroke and direction of a calibrated axis change only by
way of uncalibrated, so that a push that is cut off leaves an axis that only jogs.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from rodbench_protocol.settings import check, digest_scope

from rodbench.errors import SettingsError
from rodbench.settings.keys import Key, by_wire
from rodbench.settings.machine import MachineFile

_LARGEST_ID = 2**31 - 1
ALL = (0, 1, 2)


class HelloLike(Protocol):
    """The part of a hello that is needed here."""

    @property
    def digest_live(self) -> int: ...


class BoardLike(Protocol):
    """What a transfer needs of a board."""

    def ask_hello(self) -> HelloLike: ...
    def digests(self) -> dict[str, int]: ...
    def read_scope(self, scope: int, which: str = "live") -> dict[str, int]: ...
    def write_scope(self, scope: int, values: dict[str, int], store: bool = False) -> int: ...
    def check_scope(self, scope: int, values: dict[str, int]) -> int: ...
    def store(self, timeout_s: float = 6.0) -> int: ...


@dataclass(frozen=True, slots=True)
class Difference:
    """A setting that file and board disagree on: wire integers, the file's key if any, and the
    table that it stands in, or would."""

    scope: int
    table: str
    wire: str
    key: Key | None
    in_file: int
    on_board: int

    @property
    def name(self) -> str:
        """As the file calls it, with its table: `axes.1.limits.trip_a`."""
        return f"{self.table}.{self.wire if self.key is None else self.key.name}"

    def shown(self, wire: int) -> str:
        """A wire value as the file would write it."""
        value = wire if self.key is None else self.key.to_file(wire)
        return str(value).lower() if isinstance(value, bool) else str(value)


@dataclass(frozen=True, slots=True)
class Pushed:
    """What a push did: keys changed, digest now live, generation stored (None: until reset)."""

    changed: list[Difference]
    digest: int
    generation: int | None


def nothing_sent(digest: int) -> str:
    """The second line of every error about a machine file once a board is known."""
    return f"Nothing was sent; the board keeps settings {digest:08X}."


def load_for(board: BoardLike, load: Callable[[], MachineFile]) -> MachineFile:
    """Load a machine file; its errors then also say what the board keeps."""
    try:
        return load()
    except SettingsError as error:
        error.kept = nothing_sent(board.digests()["live"])
        raise


def diff(machine: MachineFile, board: BoardLike, scopes: Sequence[int] = ALL) -> list[Difference]:
    """All settings that file and board disagree on, in the order of the scopes and keys."""
    found = []
    for scope in scopes:
        values, live = machine.scope(scope), board.read_scope(scope)
        kind = "axis" if scope else "board"
        for wire, value in values.items():
            if value != live[wire]:
                key = by_wire().get((kind, wire))
                table = machine.table_of(scope, "" if key is None else key.table)
                found.append(Difference(scope, table, wire, key, value, live[wire]))
    return found


def push(
    machine: MachineFile,
    board: BoardLike,
    *,
    until_reset: bool = False,
    scopes: Sequence[int] = ALL,
) -> Pushed:
    """Put the file's settings in force, and store them unless `until_reset`.

    Raises SettingsError (nothing sent) for another board's file, Refused when the board refuses.
    A board without an id gets one, which is also noted in `machine` (the caller saves it).
    """
    _same_board(machine, board)
    changed = diff(machine, board, scopes)
    by_scope: dict[int, dict[str, int]] = {d.scope: {} for d in changed}
    for difference in changed:
        by_scope[difference.scope][difference.wire] = difference.in_file
    stepped = {scope: _needs_step(board, scope, new) for scope, new in by_scope.items()}
    for scope, new in by_scope.items():
        if not stepped[scope]:
            board.check_scope(scope, new)
    for scope, new in by_scope.items():
        if stepped[scope]:
            board.write_scope(scope, {"calibrated": 0})
            new["calibrated"] = machine.scope(scope)["calibrated"]
        board.write_scope(scope, new)
    live = _proven(machine, board, scopes)
    return Pushed(changed, live, None if until_reset else board.store())


def pull(machine: MachineFile, board: BoardLike) -> list[Difference]:
    """Take the board's settings into `machine` (not saved yet); returns what differed.

    Raises SettingsError when the board holds values that the file has no place for.
    """
    changed = diff(machine, board)
    for scope in (0, 1, 2):
        new = {d.wire: d.on_board for d in changed if d.scope == scope}
        if new:
            machine.put(scope, new)
    live = board.digests()["live"]
    if machine.digest() != live:
        homeless = ", ".join(d.name for d in diff(machine, board))
        raise SettingsError(
            f"the board holds values that the machine file has no place for: {homeless}",
            kept="The machine file was left as it is.",
            hint="A later rodbench may have written them; push makes them defaults.",
        )
    return changed


def _same_board(machine: MachineFile, board: BoardLike) -> None:
    """Compare board ids; a board or a file without one takes the other's, or a new one."""
    on_board = board.read_scope(0)["board_id"]
    in_file = machine.scope(0)["board_id"]
    if on_board and in_file and on_board != in_file:
        raise SettingsError(
            f"{machine.path}: board_id = {in_file}, but this board is {on_board}: "
            "the file belongs to another board",
            kept=nothing_sent(board.digests()["live"]),
            hint="When the board was replaced on purpose, delete the line board_id and push again: "
            "endpoints and sensor then have to be calibrated anew.",
        )
    if not in_file:
        machine.put(0, {"board_id": on_board or secrets.randbelow(_LARGEST_ID) + 1})


def _needs_step(board: BoardLike, scope: int, new: Mapping[str, int]) -> bool:
    """Whether this change is allowed only by way of uncalibrated."""
    if not scope:
        return False
    live = board.read_scope(scope)
    wanted = {**live, **new}
    alone = {problem.rule_id for problem in check("axis", wanted)}
    return any(problem.rule_id not in alone for problem in check("axis", wanted, live))


def _proven(machine: MachineFile, board: BoardLike, scopes: Sequence[int]) -> int:
    """The digest now live; raises SettingsError when a scope is not as the file means it."""
    told = board.digests()
    for scope in scopes:
        name = f"axis_{scope}" if scope else "board"
        meant = digest_scope("axis" if scope else "board", machine.scope(scope))
        if told[name] != meant:
            raise SettingsError(
                f"the board now tells {told[name]:08X} for {name}, the file means {meant:08X}",
                kept="The settings are in force until reset and were not stored.",
                hint="`rodbench settings diff` shows where they differ.",
            )
    return told["live"]
