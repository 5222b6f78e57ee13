"""Settings between a machine file and a board: diff, push, pull.

A push checks every scope on the board before it changes the first, commits each scope whole, and
compares digests at the end. Endpoints, stroke and direction of a calibrated axis change only by
way of uncalibrated, so that a push that is cut off leaves an axis that only jogs.
"""

from __future__ import annotations

import binascii
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import Peer, check, defaults, pack_scope

from rodbench.errors import SettingsError
from rodbench.settings.keys import Key, by_wire, kind_named
from rodbench.settings.machine import MachineFile

_LARGEST_ID = 2**31 - 1
ALL = (0, 1, 2)


class HelloLike(Protocol):
    """The part of a hello that is needed here."""

    @property
    def digest_live(self) -> int: ...
    @property
    def board_kind(self) -> int: ...


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
    """What a push did: keys changed, digest now live, generation stored (None: until reset), and
    what a person should know about it."""

    changed: list[Difference]
    digest: int
    generation: int | None
    notes: list[str] = field(default_factory=list)


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
    """All settings that file and board disagree on, in the order of the scopes and keys.

    Raises SettingsError for a file of another kind of board.
    """
    _same_kind(machine, board)
    found = []
    for scope in _there(machine, scopes):
        values = machine.scope(scope)
        kind = "axis" if scope else "board"
        live = _filled(machine, scope, values, board.read_scope(scope))
        for wire, value in values.items():
            if value != live[wire]:
                key = by_wire(machine.board_kind).get((kind, wire))
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
    A board without an id gets one, which is also noted in `machine`, as is with which rod and
    board the direction of a calibrated axis was learned (the caller saves it).
    """
    plan = _planned(machine, board, scopes)
    for scope in sorted(plan.new, key=lambda scope: (scope in plan.waits, scope)):
        new = plan.new[scope]
        if scope in plan.steps:
            board.write_scope(scope, {"calibrated": 0})
            new["calibrated"] = machine.scope(scope)["calibrated"]
        board.write_scope(scope, new)
    live = _proven(machine, board, scopes)
    for axis in machine.axes:
        if axis in scopes and machine.scope(axis)["calibrated"]:
            machine.remember(axis)
    return Pushed(plan.changed, live, None if until_reset else board.store(), plan.notes)


def check_on(
    machine: MachineFile, board: BoardLike, scopes: Sequence[int] = ALL
) -> list[Difference]:
    """What a push would change, after every check that comes before its first change. Raises as
    push does. `machine` is one of the caller's own: the board's id may be noted in it."""
    return _planned(machine, board, scopes).changed


@dataclass(frozen=True, slots=True)
class _Plan:
    """A push that the board has checked: new values by scope, the scopes that go by way of
    uncalibrated, and those that the board can judge only after the other axis."""

    changed: list[Difference]
    notes: list[str]
    new: dict[int, dict[str, int]]
    steps: set[int]
    waits: set[int]


def _planned(machine: MachineFile, board: BoardLike, scopes: Sequence[int]) -> _Plan:
    notes = _same_board(machine, board)
    _learned_here(machine, board, scopes)
    changed = diff(machine, board, scopes)
    by_scope: dict[int, dict[str, int]] = {d.scope: {} for d in changed}
    for difference in changed:
        by_scope[difference.scope][difference.wire] = difference.in_file
    steps = {scope for scope, new in by_scope.items() if _needs_step(machine, board, scope, new)}
    waits = {scope for scope in by_scope if _waits(machine, board, scope)}
    for scope, new in by_scope.items():
        if scope not in steps and scope not in waits:
            board.check_scope(scope, new)
    return _Plan(changed, notes, by_scope, steps, waits)


def pull(machine: MachineFile, board: BoardLike) -> list[Difference]:
    """Take the board's settings into `machine` (not saved yet); returns what differed.

    Raises SettingsError when the board holds values that the file has no place for, or the file is
    of another kind of board.
    """
    changed = diff(machine, board)
    for scope in ALL:
        new = {d.wire: d.on_board for d in changed if d.scope == scope}
        if new:
            machine.put(scope, new)
    live = board.digests()["live"]
    if digest_on(machine, board) != live:
        homeless = ", ".join(d.name for d in diff(machine, board))
        raise SettingsError(
            f"the board holds values that the machine file has no place for: {homeless}",
            kept="The machine file was left as it is.",
            hint="A later rodbench may have written them; push makes them defaults.",
        )
    return changed


def _filled(
    machine: MachineFile, scope: int, values: Mapping[str, int], live: Mapping[str, int]
) -> Mapping[str, int]:
    """The board's settings, those that its older firmware has not at their defaults. Raises
    SettingsError where the file wants anything else."""
    kind = "axis" if scope else "board"
    absent = {key: value for key, value in defaults(kind).items() if key not in live}
    wanted = [key for key, value in absent.items() if values[key] != value]
    if wanted:
        places = [by_wire(machine.board_kind).get((kind, wire)) for wire in wanted]
        pairs = zip(places, wanted, strict=True)
        names = ", ".join(place.name if place else wire for place, wire in pairs)
        raise SettingsError(
            f"the board's firmware is older and has no {names}",
            kept="Nothing was sent.",
            hint="`rodbench load` puts this program's firmware on it, or take the lines out.",
        )
    return {**absent, **live}


def digest_on(machine: MachineFile, board: BoardLike) -> int:
    """The digest that this board, maybe of an older firmware, tells with the file's settings."""
    return binascii.crc32(b"".join(_packed(machine, board, n) for n in _there(machine, ALL)))


def _packed(machine: MachineFile, board: BoardLike, scope: int) -> bytes:
    kind = "axis" if scope else "board"
    return pack_scope(kind, machine.scope(scope), board.read_scope(scope))


def _there(machine: MachineFile, scopes: Sequence[int]) -> list[int]:
    """Those of the scopes that this kind of board has."""
    there = machine.scopes()
    return [scope for scope in scopes if scope in there]


def kind_of(board: BoardLike) -> str:
    """The kind of a board, in the file's word."""
    number = board.ask_hello().board_kind
    kinds = load_schema().board_kinds.values()
    return next((kind.word for kind in kinds if kind.id == number), f"number {number}")


def _same_kind(machine: MachineFile, board: BoardLike) -> None:
    """Shares of the full scale mean another reading on another kind of board. A file that has no
    rod yet takes the board's kind."""
    on_board = kind_of(board)
    if on_board == machine.board_kind:
        return
    if not machine.rods and not machine.axes:
        machine.put_kind(on_board)
        return
    raise SettingsError(
        f'{machine.path}: kind = "{machine.board_kind}", but this board is {on_board}',
        kept=nothing_sent(board.digests()["live"]),
        hint=f'When the board was replaced on purpose: write kind = "{on_board}", calibrated = '
        "false for each axis, delete the line board_id and push. Pot endpoints are shares of the "
        "reference and stay; then calibrate current, polarity and speed anew.",
    )


def _same_board(machine: MachineFile, board: BoardLike) -> list[str]:
    """Compare board ids; a board or a file without one takes the other's, or a new one. Returns
    what to tell the person."""
    _same_kind(machine, board)
    on_board = board.read_scope(0)["board_id"]
    in_file = machine.scope(0)["board_id"]
    if on_board and in_file and on_board != in_file:
        raise SettingsError(
            f"{machine.path}: board_id = {in_file}, but this board is {on_board}: "
            "the file belongs to another board",
            kept=nothing_sent(board.digests()["live"]),
            hint=f"When the board was replaced on purpose, delete the line board_id. {_RELEARN}",
        )
    if not in_file:
        machine.put(0, {"board_id": on_board or secrets.randbelow(_LARGEST_ID) + 1})
    if on_board or not in_file:
        return []
    return [
        f"the board had no id and takes {in_file} from the file. If it is not the old one that "
        "lost its settings, look at the first motion, and meter supply and 5 V again."
    ]


_RELEARN = (
    "Write calibrated = false for each axis and supply_calibrated = false, take board_5v out, and "
    "push. Then calibrate current and polarity anew, and set calibrated = true; endpoints are "
    "shares of the reference and stay."
)


def _learned_here(machine: MachineFile, board: BoardLike, scopes: Sequence[int]) -> None:
    """Which way is out was learned by the wiring of one board: refuse it on another."""
    here = machine.scope(0)["board_id"]
    for axis in machine.axes:
        there = machine.host("learned_on_board", ("axes", str(axis)))
        if axis not in scopes or not machine.scope(axis)["calibrated"] or there in (None, here):
            continue
        raise SettingsError(
            f"{machine.path}: axes.{axis} is calibrated = true, but which way is out was learned "
            f"on board {there:.0f} (learned_on_board), and this one is {here}",
            kept=nothing_sent(board.digests()["live"]),
            hint=_RELEARN,
        )


def _waits(machine: MachineFile, board: BoardLike, scope: int) -> bool:
    """Whether an axis's settings agree only with what the other axis will have."""
    if not scope or len(_there(machine, ALL)) < len(ALL):
        return False
    beside = Peer(scope, board.read_scope(3 - scope))
    wanted = machine.scope(scope)
    return _broken(machine, wanted, beside) != _broken(machine, wanted, None)


def _broken(machine: MachineFile, values: Mapping[str, int], peer: Peer | None) -> set[int]:
    """Rules that do not hold."""
    kind = kind_named(machine.board_kind).name
    return {problem.rule_id for problem in check("axis", values, peer=peer, kind=kind)}


def _needs_step(machine: MachineFile, board: BoardLike, scope: int, new: Mapping[str, int]) -> bool:
    """Whether this change is allowed only by way of uncalibrated."""
    if not scope:
        return False
    live = board.read_scope(scope)
    wanted = {**defaults("axis"), **live, **new}
    alone = _broken(machine, wanted, None)
    kind = kind_named(machine.board_kind).name
    return any(p.rule_id not in alone for p in check("axis", wanted, live, kind=kind))


def _proven(machine: MachineFile, board: BoardLike, scopes: Sequence[int]) -> int:
    """The digest now live; raises SettingsError when a scope is not as the file means it."""
    told = board.digests()
    for scope in _there(machine, scopes):
        name = f"axis_{scope}" if scope else "board"
        meant = binascii.crc32(_packed(machine, board, scope))
        if told[name] != meant:
            raise SettingsError(
                f"the board now tells {told[name]:08X} for {name}, the file means {meant:08X}",
                kept="The settings are in force until reset and were not stored.",
                hint="`rodbench settings diff` shows where they differ.",
            )
    return told["live"]
