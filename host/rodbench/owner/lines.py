"""What owner and client say to each other: JSON, one object a line; errors keep their class."""

from __future__ import annotations

import json
from typing import Any

from rodbench import errors
from rodbench.errors import Faulted, Refused, RodbenchError

LINE_MAX = 1 << 20  # bytes; a longer line is not ours
_EXTRA = {
    Refused: ("request", "status", "status_name", "detail"),
    Faulted: ("axis", "fault"),
}


def encode(message: dict[str, Any]) -> bytes:
    """A line."""
    return json.dumps(message, separators=(",", ":")).encode() + b"\n"


def decode(line: bytes) -> dict[str, Any]:
    """The object of a line; an empty one for anything else (a line that was cut off)."""
    try:
        message = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return message if isinstance(message, dict) else {}


class Splitter:
    """Bytes in, lines out."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Whole lines that these bytes complete."""
        *whole, self._rest = (self._rest + data).split(b"\n")
        if len(self._rest) > LINE_MAX:
            self._rest = b""
        return [line for line in whole if line]


def error_to(error: RodbenchError) -> dict[str, Any]:
    """An error as plain data."""
    extra = {name: getattr(error, name) for name in _EXTRA.get(type(error), ())}
    return {
        "class": type(error).__name__,
        "message": error.message,
        "kept": error.kept,
        "hint": error.hint,
        **extra,
    }


def error_from(data: dict[str, Any]) -> RodbenchError:
    """The error that error_to was given."""
    found = getattr(errors, str(data.get("class")), RodbenchError)
    if not (isinstance(found, type) and issubclass(found, RodbenchError)):
        found = RodbenchError
    extra = {name: data[name] for name in _EXTRA.get(found, ()) if name in data}
    made: RodbenchError = found(
        str(data.get("message")), kept=data.get("kept"), hint=data.get("hint"), **extra
    )
    return made
