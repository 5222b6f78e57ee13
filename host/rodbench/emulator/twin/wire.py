"""Message bodies as precompiled structs, from the schema; the sibling of bytes.c."""

from __future__ import annotations

from struct import Struct

from rodbench_protocol.schema import HEADER_SIZE, Body, load_schema

REPLY_HEAD = 3
"""Fields that every reply begins with: tick, status, detail."""


def _codes(body: Body, first: int = 0) -> str:
    return "".join(f.struct_code for f in body.fields[first:] if not f.items)


def request(name: str) -> Struct:
    """The body of a request or of a one-way message, without a list at its end."""
    return Struct("<" + _codes(load_schema().messages[name].body))


def reply(name: str) -> Struct:
    """A reply's own fields, without a list at its end."""
    return Struct("<" + _codes(load_schema().messages[name].reply, REPLY_HEAD))


def unasked(name: str) -> Struct:
    """Header and body."""
    return Struct(f"<{HEADER_SIZE}B" + _codes(load_schema().messages[name].body))


def least_sizes() -> dict[int, int]:
    """Least size of the body of each request, by id."""
    messages = load_schema().messages.values()
    return {m.id: m.body.least for m in messages if m.direction == "request"}
