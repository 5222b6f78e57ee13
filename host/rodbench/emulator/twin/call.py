"""One request being carried out; call_t of handle.h."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench_protocol.names import Status


@dataclass(slots=True)
class Call:
    """`barred`: a stop came in beside this frame, so it may start no motion."""

    body: bytes
    barred: bool = False
    detail: int = 0
    reply: bytes = b""

    def bad_value(self, place: int) -> int:
        """The status for a bad field, counted from 1."""
        self.detail = place
        return Status.BAD_VALUE
