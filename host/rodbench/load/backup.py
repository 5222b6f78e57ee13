"""Settings pulled before a board is loaded, kept in a file, and compared or put back afterwards."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rodbench_protocol.names import Which
from rodbench_protocol.settings import KEYS, defaults, digest_all

from rodbench import durable
from rodbench.board import Board
from rodbench.board.types import Hello

FOLDER = "backup"  # in the logbook's folder
NAMES = ("board", "axis 1", "axis 2")
LAST_KEY = 255
Scopes = dict[int, dict[str, int]]


@dataclass(frozen=True, slots=True)
class Backup:
    """What a board held: who it was, and every setting in force, wire integers by key name. A key
    that this program does not know is called `key N`."""

    hello: Hello
    scopes: Scopes
    date: str = field(default_factory=lambda: datetime.now(UTC).isoformat(timespec="seconds"))

    @property
    def stored(self) -> bool:
        """Whether a restart of the board brings back the settings that were in force."""
        return self.hello.digest_stored == self.hello.digest_live

    @property
    def empty(self) -> bool:
        """Whether there is nothing to lose: nothing stored, and defaults in force."""
        return not self.hello.digest_stored and all(
            values.get(name, value) == value
            for scope, values in self.scopes.items()
            for name, value in defaults(kind_of(scope)).items()
        )

    def wanted(self) -> Scopes:
        """What a firmware of this edition should hold: the same values, new keys at defaults."""
        return with_defaults(self.scopes)

    def new_keys(self) -> list[str]:
        """Keys of this edition that the board did not have."""
        return sorted(
            {k.name for s, v in self.scopes.items() for k in KEYS[kind_of(s)] if k.name not in v}
        )

    def unknown_keys(self) -> int:
        """How many keys this edition does not know."""
        return sum(name.startswith("key ") for v in self.scopes.values() for name in v)


def kind_of(scope: int) -> str:
    """Scope kind of the schema."""
    return "axis" if scope else "board"


def digest_of(scopes: Scopes) -> int:
    """The digest that a board with these settings tells."""
    return digest_all(*(scopes[scope] for scope in sorted(scopes)))


def take(board: Board) -> Backup:
    """Read everything. Raises what the link raises."""
    return Backup(board.ask_hello(), {s: dict(_read(board, s)) for s in board.scopes})


def _read(board: Board, scope: int) -> Iterator[tuple[str, int]]:
    keys = {k.id: k for k in KEYS[kind_of(scope)]}
    first = 1
    while first <= LAST_KEY:
        reply = board.request("settings_get", which=Which.LIVE, scope=scope, first_key=first)
        if not reply["items"]:
            return
        for item in reply["items"]:
            key, value = keys.get(item["key"]), item["value"]
            if key is not None and key.setting.type == "u32":
                value &= 0xFFFFFFFF
            yield (key.name if key else f"key {item['key']}"), value
        first = max(item["key"] for item in reply["items"]) + 1


def save(backup: Backup, logbook: Path) -> Path:
    """Write it into the logbook's folder, on the disk when this returns."""
    hello = backup.hello
    what: dict[str, Any] = {
        "rodbench_backup": 1,
        "date": backup.date,
        "board_id": hello.board_id,
        "firmware": hello.firmware,
        "protocol": f"{hello.protocol_major}.{hello.protocol_minor}",
        "digest": f"{hello.digest_live:08X}",
        "digest_stored": f"{hello.digest_stored:08X}",
        "scopes": {NAMES[s]: v for s, v in backup.scopes.items()},
    }
    stamp = backup.date[:19].replace(":", "")
    path = logbook / FOLDER / f"{stamp}-settings-{hello.digest_live:08X}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    durable.replace(path, (json.dumps(what, indent=1) + "\n").encode())
    return path


def newest(logbook: Path, board_id: int) -> tuple[Path, Scopes] | None:
    """The newest file that was saved of this board, and what it should hold."""
    if not board_id:
        return None
    for path in sorted((logbook / FOLDER).glob("*-settings-*.json"), reverse=True):
        try:
            told = json.loads(path.read_text("utf-8"))
            scopes = {NAMES.index(name): values for name, values in told["scopes"].items()}
        except (OSError, ValueError, KeyError):
            continue
        if told.get("board_id") == board_id:
            return path, with_defaults(scopes)
    return None


def with_defaults(scopes: Scopes) -> Scopes:
    """Every key of this edition: the value given, else its default."""
    known = {scope: defaults(kind_of(scope)) for scope in scopes}
    for scope, values in scopes.items():
        known[scope] |= {k: v for k, v in values.items() if k in known[scope]}
    return known


def differences(board: Board, wanted: Scopes) -> Scopes:
    """What the board holds otherwise than wanted: the wanted values, by scope."""
    found: Scopes = {}
    for scope in sorted(wanted):
        live = board.read_scope(scope)
        if changed := {k: v for k, v in wanted[scope].items() if live.get(k) != v}:
            found[scope] = changed
    return found


def put_back(board: Board, wanted: Scopes) -> int:
    """Put the wanted values in force and store them; the digest that the board then tells.

    Calibration comes last, so that a board that is cut off meanwhile only jogs. Raises Refused.
    """
    for scope, values in differences(board, wanted).items():
        if scope and board.read_scope(scope)["calibrated"]:
            board.write_scope(scope, {"calibrated": 0})
            values["calibrated"] = wanted[scope]["calibrated"]
        board.write_scope(scope, values)
    board.store()
    return board.digests()["live"]
