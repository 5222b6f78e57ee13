"""The schema as typed values: what `schema.toml` says, with offsets worked out."""

from __future__ import annotations

import binascii
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

WIDTHS = {"u8": 1, "i8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4}
STRUCT_CODES = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i"}
HEADER_SIZE = 3
CRC_SIZE = 2


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a body; `offset` counts from the body's first byte.

    `since` is the protocol minor that brought it; `default` stands in where it is missing.
    A list (`items` not empty) runs to the end of the body and `size` is that of one item.
    """

    name: str
    type: str
    offset: int
    size: int
    doc: str = ""
    unit: str = ""
    enum: str = ""
    bits: str = ""
    since: int = 0
    default: int = 0
    items: tuple[Field, ...] = ()
    min_items: int = 0

    @property
    def is_text(self) -> bool:
        """True for char[n]."""
        return self.type.startswith("char[")

    @property
    def struct_code(self) -> str:
        """Format letters of Python's `struct`, little-endian without padding."""
        return f"{self.size}s" if self.is_text else STRUCT_CODES[self.type]

    @property
    def least_size(self) -> int:
        """Bytes that the field takes at least."""
        return self.size * self.min_items if self.items else self.size


@dataclass(frozen=True, slots=True)
class Body:
    """The fields of one body and its sizes in bytes; `minor` is that of the message."""

    fields: tuple[Field, ...]
    minor: int = 0

    @property
    def least(self) -> int:
        """Size of the message's first version."""
        return sum(f.least_size for f in self.fields if f.since <= self.minor)

    @property
    def size(self) -> int:
        """Size with every known field, lists at their least."""
        return sum(f.least_size for f in self.fields)

    @property
    def list_field(self) -> Field | None:
        """The list at the end, if there is one."""
        return next((f for f in self.fields if f.items), None)


@dataclass(frozen=True, slots=True)
class MessageType:
    """A message: a request has a reply body that begins with tick, status and detail."""

    id: int
    name: str
    direction: str
    session: str
    doc: str
    body: Body
    reply: Body
    since: int = 0


@dataclass(frozen=True, slots=True)
class Choice:
    """One value of an enumeration, or one bit of a bit field."""

    name: str
    value: int
    doc: str


@dataclass(frozen=True, slots=True)
class Names:
    """An enumeration or a bit field."""

    name: str
    doc: str
    values: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class Setting:
    """A settings entry; `count` keys from `id` on. wire = file * scale.

    `file_bool` and `file_fraction` mark true/false, and fractions of full scale, in the file.
    """

    scope: str
    id: int
    name: str
    type: str
    min: int
    max: int
    default: int
    doc: str
    offset: int
    count: int = 1
    unit: str = ""
    enum: str = ""
    file: str = ""
    scale: int = 1
    file_bool: bool = False
    file_fraction: bool = False

    @property
    def width(self) -> int:
        """Bytes of one key in digest and store."""
        return WIDTHS[self.type]


@dataclass(frozen=True, slots=True)
class Key:
    """One settings key on the wire: a setting, or one place of an array setting."""

    name: str
    id: int
    offset: int
    setting: Setting


@dataclass(frozen=True, slots=True)
class Rule:
    """A cross rule: where `when` holds, `expr` must.

    `change` rules also see the live values, `peer` rules the live values of the other axis.
    """

    id: int
    name: str
    scope: str
    key: str
    expr: str
    text: str
    when: str = ""
    change: bool = False
    peer: bool = False


@dataclass(frozen=True, slots=True)
class HostKey:
    """A key that stays in the machine file."""

    file: str
    kind: str
    doc: str
    unit: str = ""
    words: tuple[str, ...] = ()
    default: str | float | None = None


@dataclass(frozen=True, slots=True)
class BoardKindData:
    """Figures of a kind of board."""

    name: str
    id: int
    word: str
    axes: int
    adc_full_scale: int
    adc_reference_mv: int
    current_full_scale: int
    supply_full_scale: int

    @property
    def rule_names(self) -> dict[str, int]:
        """What cross rules may name of the board's kind."""
        return {
            "reference_mv": self.adc_reference_mv,
            "full_scale": self.adc_full_scale,
            "current_full_scale": self.current_full_scale,
        }


@dataclass(frozen=True)
class Schema:
    """Everything in `schema.toml`; `raw` is the parsed file."""

    raw: Mapping[str, Any]
    protocol: Mapping[str, Any]
    enums: dict[str, Names]
    bits: dict[str, Names]
    messages: dict[str, MessageType]
    settings: dict[str, tuple[Setting, ...]]
    rules: tuple[Rule, ...]
    host_keys: tuple[HostKey, ...]
    board_kinds: dict[str, BoardKindData]

    @cached_property
    def by_id(self) -> dict[int, MessageType]:
        """Messages by id, without the reply flag."""
        return {m.id: m for m in self.messages.values()}

    @cached_property
    def digest(self) -> int:
        """CRC-32 of the canonical JSON of everything that the wire depends on."""
        text = json.dumps(wire_part(self), sort_keys=True, separators=(",", ":"))
        return binascii.crc32(text.encode("ascii"))

    @property
    def body_max(self) -> int:
        """Greatest body in bytes."""
        return int(self.protocol["frame_max"]) - HEADER_SIZE - CRC_SIZE

    def keys(self, scope: str) -> tuple[Key, ...]:
        """All keys of a scope kind in id order, arrays written out as name_1, name_2 ..."""
        return tuple(key for s in self.settings[scope] for key in _keys_of(s))

    def scope_size(self, scope: str) -> int:
        """Bytes of a scope in digest and store."""
        return sum(s.width * s.count for s in self.settings[scope])


REPLY_HEAD = (
    {"name": "tick", "type": "u32", "doc": "the board's tick"},
    {"name": "status", "type": "u8", "enum": "status", "doc": ""},
    {"name": "detail", "type": "u16", "doc": "by status, else 0"},
)


def schema_path() -> Path:
    """Where the schema lies: inside an installed package, or beside it in a checkout."""
    here = Path(__file__).resolve().parent
    inside = here / "schema.toml"
    return inside if inside.exists() else here.parent / "schema.toml"


@cache
def load_schema() -> Schema:
    """The schema that this package was made with."""
    with schema_path().open("rb") as file:
        return build_schema(tomllib.load(file))


def build_schema(raw: Mapping[str, Any]) -> Schema:
    """Typed schema from a parsed file; says nothing about its soundness (see `check`)."""
    return Schema(
        raw=raw,
        protocol=raw["protocol"],
        enums={k: _names(k, v) for k, v in raw["enum"].items()},
        bits=_bits(raw),
        messages={m["name"]: _message(m) for m in raw["message"]},
        settings={scope: _settings(raw, scope) for scope in raw["scope"]},
        rules=tuple(Rule(**r) for r in raw.get("rule", ())),
        host_keys=tuple(_host_key(k) for k in raw.get("host_key", ())),
        board_kinds={k: BoardKindData(name=k, **v) for k, v in raw["board_kinds"].items()},
    )


def _names(name: str, entry: Mapping[str, Any]) -> Names:
    return Names(name, entry["doc"], tuple(Choice(n, v, d) for n, v, d in entry["values"]))


def _bits(raw: Mapping[str, Any]) -> dict[str, Names]:
    bits = {k: _names(k, v) for k, v in raw["bits"].items()}
    fault = _names("fault", raw["enum"]["fault"])
    numbered = tuple(Choice(c.name, c.value - 1, c.doc) for c in fault.values)
    bits["fault"] = Names("fault", fault.doc, numbered)
    return bits


def _message(entry: Mapping[str, Any]) -> MessageType:
    minor = int(entry.get("since", 0))
    asks = entry["direction"] == "request"
    reply = [*REPLY_HEAD, *entry["reply"]] if asks else []
    return MessageType(
        id=entry["id"],
        name=entry["name"],
        direction=entry["direction"],
        session=entry.get("session", "open"),
        doc=entry["doc"],
        body=_body(entry["fields"], minor),
        reply=_body(reply, minor),
        since=minor,
    )


def _body(entries: list[Any], minor: int) -> Body:
    fields: list[Field] = []
    offset = 0
    for entry in entries:
        fields.append(_field(entry, offset, minor))
        offset += fields[-1].least_size
    return Body(tuple(fields), minor)


def _field(entry: Mapping[str, Any], offset: int, minor: int) -> Field:
    items: tuple[Field, ...] = ()
    if "list" in entry:
        items = _body(entry["list"], minor).fields
    kind = entry.get("type", "list")
    size = sum(i.size for i in items) if items else _size(kind)
    plain = ("doc", "unit", "enum", "bits", "default", "min_items")
    known = {k: entry[k] for k in plain if k in entry}
    since = int(entry.get("since", minor))
    return Field(entry["name"], kind, offset, size, items=items, since=since, **known)


def _size(kind: str) -> int:
    return int(kind[5:-1]) if kind.startswith("char[") else WIDTHS[kind]


def _settings(raw: Mapping[str, Any], scope: str) -> tuple[Setting, ...]:
    found: list[Setting] = []
    offset = 0
    mine = (e for e in raw["setting"] if e["scope"] == scope)
    for entry in sorted(mine, key=lambda e: int(e["id"])):
        found.append(Setting(offset=offset, **_limits(raw, entry), **entry))
        offset += found[-1].width * found[-1].count
    return tuple(found)


def _limits(raw: Mapping[str, Any], entry: Mapping[str, Any]) -> dict[str, Any]:
    """Range of a key that takes an enumeration's values and states none itself."""
    if "enum" not in entry:
        return {}
    values = [value for _, value, _ in raw["enum"][entry["enum"]]["values"]]
    return {"min": min(values), "max": max(values)}


def _keys_of(setting: Setting) -> tuple[Key, ...]:
    if setting.count == 1:
        return (Key(setting.name, setting.id, setting.offset, setting),)
    return tuple(
        Key(f"{setting.name}_{i + 1}", setting.id + i, setting.offset + i * setting.width, setting)
        for i in range(setting.count)
    )


def _host_key(entry: Mapping[str, Any]) -> HostKey:
    values = {**entry, "words": tuple(entry.get("words", ()))}
    return HostKey(**values)


def wire_part(schema: Schema) -> dict[str, Any]:
    """What two sides must have in common, without words: names, numbers, order and ranges."""
    return {
        "protocol": dict(schema.protocol),
        "enum": {k: [[c.name, c.value] for c in v.values] for k, v in schema.enums.items()},
        "bits": {k: [[c.name, c.value] for c in v.values] for k, v in schema.bits.items()},
        "message": [_wire_message(m) for m in sorted(schema.messages.values(), key=lambda m: m.id)],
        "setting": {k: [_wire_setting(s) for s in v] for k, v in schema.settings.items()},
        "rule": [[r.id, r.scope, r.key, r.when, r.expr, r.change, r.peer] for r in schema.rules],
    }


def _wire_message(message: MessageType) -> dict[str, Any]:
    return {
        "id": message.id,
        "name": message.name,
        "direction": message.direction,
        "session": message.session,
        "since": message.since,
        "fields": [_wire_field(f) for f in message.body.fields],
        "reply": [_wire_field(f) for f in message.reply.fields],
    }


def _wire_field(field: Field) -> dict[str, Any]:
    return {
        "name": field.name,
        "type": field.type,
        "names": field.enum or field.bits,
        "since": field.since,
        "items": [_wire_field(f) for f in field.items],
    }


def _wire_setting(setting: Setting) -> list[Any]:
    s = setting
    return [s.id, s.name, s.type, s.count, s.min, s.max, s.default]
