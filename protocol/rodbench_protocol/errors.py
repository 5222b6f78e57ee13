"""Errors of the protocol package."""

from __future__ import annotations


class ProtocolError(ValueError):
    """Root of all errors raised here."""


class FrameError(ProtocolError):
    """A frame that is not good; `reason` is one of empty, cobs, short, long, crc."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"bad frame: {reason}")
        self.reason = reason


class MessageError(ProtocolError):
    """A good frame whose content is no message of this schema."""


class SchemaError(ProtocolError):
    """The schema contradicts itself or its released form; `problems` lists all findings."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems
