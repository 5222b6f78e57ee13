"""What a link offers, whether it is the port itself or the owner process that holds it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol, TypeAlias

from rodbench_protocol.names import AxisTelemetry, BoardTelemetry, Event

from rodbench.clock import Clock


@dataclass(frozen=True, slots=True)
class Reply:
    """A reply with status ok. `tick` is the board's, `fields` as in the schema (wire units)."""

    name: str
    tick: int
    fields: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Any:
        return self.fields[key]


@dataclass(slots=True)
class LinkStatistics:
    """What the link has seen since it was opened."""

    requests: int = 0
    tries: int = 0
    retries: int = 0
    unanswered: int = 0  # requests given up after the last try
    late_replies: int = 0
    frames_good: int = 0
    frames_bad: int = 0
    unasked: int = 0
    unasked_missed: int = 0  # gaps in the counter of unasked frames
    sessions: int = 0
    round_trip_ms_median: float = 0.0
    round_trip_ms_worst: float = 0.0


class Who(NamedTuple):
    """A program that uses the board: what it calls itself ("jog 1") and its process."""

    name: str
    pid: int

    def __str__(self) -> str:
        return f"'{self.name}' (process {self.pid})"


Unasked: TypeAlias = AxisTelemetry | BoardTelemetry | Event
"""What comes unasked, in wire units: fields as in the schema."""


class Link(Protocol):
    """Requests, renewals, and what comes unasked. Every call may raise LinkLost or NoAnswer."""

    @property
    def clock(self) -> Clock:
        """The clock that this link and its board live in."""
        ...

    @property
    def newest_tick(self) -> int:
        """Newest board tick seen in a reply or telemetry; what `alive` echoes."""
        ...

    @property
    def hello_fields(self) -> dict[str, Any]:
        """Fields of the last hello, wire units."""
        ...

    @property
    def commander(self) -> Who | None:
        """Who commands the board, this program or another; None: nobody, or nobody can tell. As of
        the last poll."""
        ...

    @property
    def dropped(self) -> int:
        """Frames that came unasked and were thrown away because this program did not poll."""
        ...

    def hello(self) -> Reply:
        """Ask who is there. Changes nothing."""
        ...

    def request(self, name: str, **fields: Any) -> Reply:
        """Ask once and only once. Raises Refused for a status other than ok, OutcomeUnknown when
        nothing answers, HeldError when another command is commanding motion."""
        ...

    def stop(self, axis: int = 0, category: int = 1) -> Reply:
        """Stop, whoever commands; never refused, safe to repeat. Axis 0: all."""
        ...

    def alive(self, tick: int | None = None) -> None:
        """Renew this command's motion with the newest tick seen, or with `tick`: what a person who
        holds it through a further program has seen."""
        ...

    def poll(self, timeout_s: float = 0.0) -> list[Unasked]:
        """What came unasked; waits up to `timeout_s` for the first."""
        ...

    def subscribe(self, axis_period_ms: int, board_period_ms: int) -> None:
        """Ask for telemetry at these periods; through an owner the fastest asked is in force."""
        ...

    def restart(self) -> Reply:
        """Restart the board, wait for it, open a new session; returns its hello."""
        ...

    def release(self) -> str:
        """This command commands no motion any more: others may. Returns who else asked for a stop
        meanwhile, "" for nobody."""
        ...

    def eye(self, **question: Any) -> dict[str, Any]:
        """Ask the eye of an emulated plant. Raises NeedsPerson where there is none."""
        ...

    def statistics(self) -> LinkStatistics:
        """What the link has seen since it was opened."""
        ...

    def close(self) -> None:
        """Give the link up. A motion of this link is stopped first where that can still be said."""
        ...
