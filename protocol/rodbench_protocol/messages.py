"""Payloads (header and body) to and from named fields, by construct structures of the schema."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any, Literal

import construct as cs

from rodbench_protocol.errors import MessageError
from rodbench_protocol.schema import HEADER_SIZE, Body, Field, MessageType, load_schema

Kind = Literal["request", "reply", "one_way", "unasked"]
REPLY_FLAG = 0x80
_KINDS: dict[str, Kind] = {"request": "request", "one_way": "one_way", "unasked": "unasked"}
_NUMBERS = {
    "u8": cs.Int8ul,
    "i8": cs.Int8sl,
    "u16": cs.Int16ul,
    "i16": cs.Int16sl,
    "u32": cs.Int32ul,
    "i32": cs.Int32sl,
}
_REFUSED_REPLY_SIZE = 7


@dataclass(frozen=True, slots=True)
class Message:
    """A parsed payload. `seq` is the counter of an unasked message; enum values are ints."""

    name: str
    kind: Kind
    session: int
    seq: int
    fields: dict[str, Any] = field(default_factory=dict)


def pack(name: str, session: int, seq: int, /, **fields: Any) -> bytes:
    """Payload of a request or of a one-way message; MessageError for wrong or missing fields."""
    message = _message(name)
    if message.direction == "unasked":
        raise MessageError(f"{name} comes from the board only")
    return _head(message.id, session, seq) + _build(name, message.body, fields)


def pack_reply(
    name: str, session: int, seq: int, /, *, tick: int, status: int, detail: int = 0, **fields: Any
) -> bytes:
    """Payload of a reply; the message's own fields belong to it only when status is ok (0)."""
    message = _message(name)
    if message.direction != "request":
        raise MessageError(f"{name} has no reply")
    head = {"tick": tick, "status": status, "detail": detail}
    body = message.reply if status == 0 else Body(message.reply.fields[:3])
    return _head(message.id | REPLY_FLAG, session, seq) + _build(name, body, {**head, **fields})


def pack_unasked(name: str, session: int, counter: int, /, **fields: Any) -> bytes:
    """Payload of telemetry or an event."""
    message = _message(name)
    if message.direction != "unasked":
        raise MessageError(f"{name} is not sent unasked")
    return _head(message.id, session, counter) + _build(name, message.body, fields)


def parse(payload: bytes) -> Message:
    """Message of a payload; a longer body is taken, its tail ignored.

    Raises MessageError for an unknown id, a body shorter than the message's first version, a
    field or list that is cut off, or text that is not ASCII.
    """
    if len(payload) < HEADER_SIZE:
        raise MessageError("shorter than a header")
    number, session, seq = payload[:HEADER_SIZE]
    body = payload[HEADER_SIZE:]
    message = load_schema().by_id.get(number & ~REPLY_FLAG)
    is_reply = bool(number & REPLY_FLAG)
    if message is None or (is_reply and message.direction != "request"):
        raise MessageError(f"unknown message 0x{number:02X}")
    if is_reply:
        return Message(message.name, "reply", session, seq, _parse_reply(message, body))
    fields = parse_body(message.name, message.body, body)
    return Message(message.name, _KINDS[message.direction], session, seq, fields)


def _message(name: str) -> MessageType:
    try:
        return load_schema().messages[name]
    except KeyError:
        raise MessageError(f"no message {name!r}") from None


def _head(number: int, session: int, seq: int) -> bytes:
    try:
        return bytes((number, session, seq))
    except ValueError:
        raise MessageError(f"session {session} and seq {seq} must be 0..255") from None


def _parse_reply(message: MessageType, body: bytes) -> dict[str, Any]:
    refused = len(body) >= _REFUSED_REPLY_SIZE and body[4] != 0
    shape = Body(message.reply.fields[:3]) if refused else message.reply
    return parse_body(message.name, shape, body)


def _build(name: str, body: Body, fields: dict[str, Any]) -> bytes:
    unknown = fields.keys() - {f.name for f in body.fields}
    if unknown:
        raise MessageError(f"{name} has no field {', '.join(sorted(unknown))}")
    given = {f.name: f.default for f in body.fields if f.since > body.minor} | fields
    try:
        data: bytes = structure(body).build(given)
    except (cs.ConstructError, KeyError, TypeError, UnicodeError) as error:
        raise MessageError(f"{name}: {error}") from None
    if len(data) > load_schema().body_max:
        raise MessageError(f"{name}: {len(data)} bytes do not fit {load_schema().body_max}")
    if len(data) < body.size:
        raise MessageError(f"{name}: the list is too short")
    return data


def parse_body(name: str, body: Body, data: bytes) -> dict[str, Any]:
    """Fields of a body by any schema's layout; unknown tail ignored, missing fields by default."""
    data = _filled(name, body, data)
    try:
        found = structure(body).parse(data)
    except (cs.ConstructError, UnicodeError) as error:
        raise MessageError(f"{name}: {error}") from None
    return {f.name: _plain(found[f.name], f) for f in body.fields}


def _plain(value: Any, kind: Field) -> Any:
    if kind.items:
        return [{i.name: item[i.name] for i in kind.items} for item in value]
    return value


def _filled(name: str, body: Body, data: bytes) -> bytes:
    """The body with defaults for appended fields that an older sender left out."""
    if len(data) < body.least:
        raise MessageError(f"{name}: body of {len(data)} bytes, needs {body.least}")
    listed = body.list_field
    if listed is not None:
        if (len(data) - listed.offset) % listed.size:
            raise MessageError(f"{name}: the last item is cut off")
        return data
    for late in (f for f in body.fields if f.since > body.minor):
        if len(data) <= late.offset:
            data += late.default.to_bytes(late.size, "little", signed=late.default < 0)
        elif len(data) < late.offset + late.size:
            raise MessageError(f"{name}: {late.name} is cut off")
    return data


@cache
def structure(body: Body) -> Any:
    """The construct structure of a body."""
    return cs.Struct(*(f.name / _subcon(f) for f in body.fields))


def _subcon(kind: Field) -> Any:
    if kind.items:
        return cs.GreedyRange(cs.Struct(*(i.name / _subcon(i) for i in kind.items)))
    if kind.is_text:
        return cs.PaddedString(kind.size, "ascii")
    return _NUMBERS[kind.type]
