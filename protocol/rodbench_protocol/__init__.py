"""The wire of rodbench: schema, framing, messages, settings, and what is made from them."""

from __future__ import annotations

from rodbench_protocol.errors import FrameError, MessageError, ProtocolError, SchemaError
from rodbench_protocol.schema import Schema, load_schema

__all__ = [
    "FrameError",
    "MessageError",
    "ProtocolError",
    "Schema",
    "SchemaError",
    "load_schema",
]
