"""Settings of a scope as {key name: wire integer}: defaults, ranges, cross rules, digests."""

from __future__ import annotations

import binascii
from collections.abc import Callable, Container, Mapping
from dataclasses import dataclass
from functools import cache

from rodbench_protocol import rules, table
from rodbench_protocol.schema import Key, Rule, Schema, load_schema

KEYS: dict[str, tuple[Key, ...]] = {k: load_schema().keys(k) for k in load_schema().settings}
"""Keys of each scope kind ("board", "axis") in id order; arrays are name_1, name_2 ..."""

LIVE = "live_"
"""In a change rule, this before a key name means the value now in force."""
OTHER = "other_"
"""In a peer rule, this before a key name means the value in force of the other axis."""
AXIS = "axis"
"""In a peer rule, the number of the axis itself."""
TABLE_GOOD = "table_good"
"""Whether the linearity table is in order."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a scope: the key, the rule (0: its range, or its presence), in words."""

    key: str
    rule_id: int
    text: str


def defaults(scope_kind: str) -> dict[str, int]:
    """Default value of every key."""
    return {key.name: key.setting.default for key in KEYS[scope_kind]}


@dataclass(frozen=True, slots=True)
class Peer:
    """The number of an axis, and the values in force of the other."""

    axis: int
    other: Mapping[str, int]


def check(
    scope_kind: str,
    values: Mapping[str, int],
    live: Mapping[str, int] | None = None,
    *,
    peer: Peer | None = None,
    kind: str = "atmega328p_5v",
) -> list[Problem]:
    """All problems of a complete scope on a board of this kind; with `live`, also of the change
    from it, with `peer`, also of what stands beside the other axis."""
    problems = _presence(scope_kind, values) or _ranges(scope_kind, values)
    if problems:
        return problems
    seen = {**load_schema().board_kinds[kind].rule_names, **values}
    if scope_kind == "axis":
        seen |= {TABLE_GOOD: int(table.good(values))}
    seen |= {LIVE + k: v for k, v in (live or {}).items()}
    if peer is not None:
        seen |= {AXIS: peer.axis, **{OTHER + k: v for k, v in peer.other.items()}}
    return [
        Problem(rule.key, rule.id, rule.text)
        for rule, good in _compiled(scope_kind)
        if _concerns(rule, live is not None, peer is not None) and not good(seen)
    ]


def _concerns(rule: Rule, with_live: bool, with_peer: bool) -> bool:
    return (with_live or not rule.change) and (with_peer or not rule.peer)


def pack_scope(
    scope_kind: str, values: Mapping[str, int], only: Container[str] | None = None
) -> bytes:
    """The scope's bytes as digested and stored: keys in id order, own width, little-endian.

    `only`: the keys that an older board has."""
    return b"".join(
        values[k.name].to_bytes(k.setting.width, "little", signed=k.setting.type[0] == "i")
        for k in KEYS[scope_kind]
        if only is None or k.name in only
    )


def unpack_scope(scope_kind: str, data: bytes) -> dict[str, int]:
    """Values of a scope's bytes."""
    return {
        k.name: int.from_bytes(
            data[k.offset : k.offset + k.setting.width],
            "little",
            signed=k.setting.type[0] == "i",
        )
        for k in KEYS[scope_kind]
    }


def digest_scope(scope_kind: str, values: Mapping[str, int]) -> int:
    """CRC-32 of one scope."""
    return binascii.crc32(pack_scope(scope_kind, values))


def digest_all(board: Mapping[str, int], *axes: Mapping[str, int]) -> int:
    """CRC-32 over the board and the axes that it has, in this order."""
    parts = (pack_scope("axis", axis) for axis in axes)
    return binascii.crc32(pack_scope("board", board) + b"".join(parts))


def _presence(scope_kind: str, values: Mapping[str, int]) -> list[Problem]:
    known = {key.name for key in KEYS[scope_kind]}
    missing = [Problem(k, 0, "is missing") for k in sorted(known - values.keys())]
    return missing + [Problem(k, 0, "is not a key") for k in sorted(values.keys() - known)]


def _ranges(scope_kind: str, values: Mapping[str, int]) -> list[Problem]:
    return [
        Problem(key.name, 0, f"{values[key.name]} is outside {key.setting.min}..{key.setting.max}")
        for key in KEYS[scope_kind]
        if not key.setting.min <= values[key.name] <= key.setting.max
    ]


def key_ranges(schema: Schema, scope_kind: str) -> dict[str, rules.Range]:
    """Least and greatest value of every name that a rule of this scope may read."""
    plain = {k.name: (k.setting.min, k.setting.max) for k in schema.keys(scope_kind)}
    figures = [kind.rule_names for kind in schema.board_kinds.values()]
    of_kind = {n: (min(f[n] for f in figures), max(f[n] for f in figures)) for n in figures[0]}
    before = {prefix + name: plain[name] for prefix in (LIVE, OTHER) for name in plain}
    return plain | before | of_kind | {AXIS: (1, 2), TABLE_GOOD: (0, 1)}


def whole_expression(rule: Rule) -> str:
    """The rule with its condition: true means good."""
    return f"not ({rule.when}) or ({rule.expr})" if rule.when else rule.expr


@cache
def _compiled(scope_kind: str) -> tuple[tuple[Rule, Callable[[Mapping[str, int]], bool]], ...]:
    schema = load_schema()
    ranges = key_ranges(schema, scope_kind)
    return tuple(
        (rule, rules.to_python(whole_expression(rule), ranges))
        for rule in schema.rules
        if rule.scope == scope_kind
    )
