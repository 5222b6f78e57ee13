"""Drafts of settings, one scope at a time, and settings by their keys."""

from __future__ import annotations

import struct
import zlib

from rodbench_protocol import settings as rules
from rodbench_protocol.names import Status
from rodbench_protocol.schema import Key

from rodbench.emulator.twin.store import KINDS, Scope, Settings, scope_to_bytes

SCOPES = len(KINDS)
DRAFT_NONE = 0xFF
DRAFT_ITEM = struct.Struct("<Bi")
_BY_ID: dict[str, dict[int, Key]] = {
    kind: {key.id: key for key in keys} for kind, keys in rules.KEYS.items()
}
_ID: dict[str, dict[str, int]] = {
    kind: {key.name: key.id for key in keys} for kind, keys in rules.KEYS.items()
}


class Draft:
    """`number` is the scope, DRAFT_NONE while there is no draft."""

    __slots__ = ("number", "scope")

    def __init__(self) -> None:
        self.number = DRAFT_NONE
        self.scope = Scope()


def settings_good(settings: Settings) -> bool:
    """Ranges and cross rules of all scopes."""
    alone = any(
        rules.check(kind, vars(scope)) for kind, scope in zip(KINDS, settings.scope, strict=True)
    )
    return not alone and not any(
        rules.check("axis", vars(settings.scope[axis]), peer=_peer(settings, axis))
        for axis in (1, 2)
    )


def _peer(settings: Settings, axis: int) -> rules.Peer:
    return rules.Peer(axis, vars(settings.scope[3 - axis]))


def settings_items(scope: Scope, number: int, first_key: int, room: int) -> bytes:
    """Key and value pairs from first_key on, as they go over the wire."""
    keys = [key for key in rules.KEYS[KINDS[number]] if key.id >= first_key]
    values = vars(scope)
    return b"".join(
        DRAFT_ITEM.pack(key.id, values[key.name]) for key in keys[: room // DRAFT_ITEM.size]
    )


def draft_drop(draft: Draft) -> None:
    """No draft."""
    draft.number = DRAFT_NONE


def draft_begin(draft: Draft, live: Settings, number: int) -> None:
    """A draft as a copy of the live scope."""
    draft.number = number
    draft.scope = Scope(**vars(live.scope[number]))


def draft_set(draft: Draft, items: bytes) -> tuple[int, int]:
    """All items or none: (status, key at fault)."""
    known = _BY_ID[KINDS[draft.number]]
    pairs = list(DRAFT_ITEM.iter_unpack(items))
    for number, value in pairs:
        key = known.get(number)
        if key is None:
            return Status.UNKNOWN_SETTING, number
        if not key.setting.min <= value <= key.setting.max:
            return Status.SETTING_RANGE, number
    for number, value in pairs:
        setattr(draft.scope, known[number].name, value)
    return Status.OK, 0


def _first_broken(draft: Draft, live: Settings) -> int:
    kind, values = KINDS[draft.number], vars(draft.scope)
    before = vars(live.scope[draft.number])
    problems = rules.check(kind, values) or rules.check(kind, values, before)
    if not problems and draft.number:
        problems = rules.check(kind, values, peer=_peer(live, draft.number))
    return problems[0].rule_id << 8 | _ID[kind][problems[0].key] if problems else 0


def draft_check(draft: Draft, live: Settings) -> tuple[int, int]:
    """(status, rule and key): STATUS_OK, or STATUS_CROSS_RULE."""
    broken = _first_broken(draft, live)
    return (Status.CROSS_RULE, broken) if broken else (Status.OK, 0)


def draft_digest(draft: Draft) -> int:
    """CRC-32 that the scope would have."""
    return zlib.crc32(scope_to_bytes(KINDS[draft.number], draft.scope))


def draft_commit(draft: Draft, live: Settings) -> None:
    """Put the draft in force."""
    live.scope[draft.number] = draft.scope
    draft_drop(draft)
