"""Board and Axis: everything that the command does, for scripts."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Any

from rodbench.board.motion import Motion
from rodbench.board.types import AxisSample, BoardSample, Event, Hello, Outcome, Sample
from rodbench.clock import Clock
from rodbench.link.api import Link, LinkStatistics, Reply


class Board:
    """A board on a link. Opening one moves nothing. Use it as a context, or `close` it."""

    link: Link
    listeners: list[Callable[[Sample], None]]  # called in the caller's own thread for every sample
    last_axis: dict[int, AxisSample]  # newest sample of axis 1 and 2
    last_board: BoardSample | None

    def __init__(self, link: Link) -> None:
        raise NotImplementedError

    @classmethod
    def open(
        cls,
        port: str,
        *,
        folder: str | None = None,
        warn: Callable[[str], None] | None = None,
        who: str | None = None,
    ) -> Board:
        """Through the owner process of `port`, which starts by itself.

        Ports: `/dev/ttyUSB0`, `COM3`, `tcp:HOST:PORT`, `emulator`, `emulator:FILE`. `folder` is
        the machine folder, where the emulator keeps its state. `warn` hears of another protocol
        minor and the like. `who` names this command to others ("jog 1"). Raises PortError,
        NoAnswer, ProtocolMismatch.
        """
        raise NotImplementedError

    @classmethod
    def direct(
        cls, transport: Any, clock: Clock, *, warn: Callable[[str], None] | None = None
    ) -> Board:
        """On a transport of this process, without an owner: for embedding, tests, and emulated
        boards faster than real time (a VirtualClock)."""
        raise NotImplementedError

    @property
    def clock(self) -> Clock:
        """The clock that the board, the link and a procedure on it share."""
        raise NotImplementedError

    @property
    def hello(self) -> Hello:
        """What the board said when it was opened or last asked."""
        raise NotImplementedError

    def ask_hello(self) -> Hello:
        """Ask again (digests, reset cause)."""
        raise NotImplementedError

    def axis(self, number: int) -> Axis:
        """Axis 1 or 2. Raises UsageError for another number."""
        raise NotImplementedError

    def request(self, name: str, **fields: Any) -> Reply:
        """A request by its schema name, wire units."""
        raise NotImplementedError

    def subscribe(self, axis_period_s: float = 0.01, board_period_s: float = 0.1) -> None:
        """Ask for telemetry; 0 ends it. The API subscribes by itself when a motion starts."""
        raise NotImplementedError

    def poll(self, timeout_s: float = 0.0) -> list[Sample]:
        """What came unasked, waiting up to `timeout_s` for the first. Keeps nothing alive."""
        raise NotImplementedError

    def watch(self, seconds: float) -> list[Sample]:
        """All samples of the next `seconds` of the clock, at rest. Keeps nothing alive."""
        raise NotImplementedError

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of the clock pass while listening; samples go to the listeners."""
        raise NotImplementedError

    def stop(self, axis: int = 0, category: int = 1) -> None:
        """Stop one axis, or all (0), whoever commands."""
        raise NotImplementedError

    def clear(self, axis: int = 0) -> int:
        """Clear latched faults of an axis (0: all and the board); returns the bits cleared."""
        raise NotImplementedError

    def outcome(self, axis: int) -> Outcome:
        """How the last motion of the axis ended."""
        raise NotImplementedError

    def counters(self) -> dict[str, int]:
        """What the board has counted since its start."""
        raise NotImplementedError

    def read_scope(self, scope: int, which: str = "live") -> dict[str, int]:
        """Settings of scope 0 (board), 1 or 2 by key name, wire units; `which` live or draft."""
        raise NotImplementedError

    def write_scope(self, scope: int, values: dict[str, int], store: bool = False) -> int:
        """Change keys of a scope: draft, check, commit; all or nothing. Returns the scope's digest.

        Raises Refused (with key and rule in its text) and leaves the board as it was; raises
        LinkLost when the board started anew in the middle and the draft is gone. `store` also
        stores.
        """
        raise NotImplementedError

    def check_scope(self, scope: int, values: dict[str, int]) -> int:
        """As write_scope, but the board only checks, and the draft is dropped again."""
        raise NotImplementedError

    def store(self, timeout_s: float = 6.0) -> int:
        """Store the live settings and wait until it is done; returns the generation."""
        raise NotImplementedError

    def digests(self) -> dict[str, int]:
        """live, stored, board, axis_1, axis_2, storing: one round trip."""
        raise NotImplementedError

    def restart(self) -> Hello:
        """Restart the board, wait for it and open a new session."""
        raise NotImplementedError

    def statistics(self) -> LinkStatistics:
        """What the link has seen."""
        raise NotImplementedError

    def close(self) -> None:
        """Give the link up; a motion of this command is stopped first."""
        raise NotImplementedError

    def __enter__(self) -> Board:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class Axis:
    """One axis. Every motion method returns at acceptance with a Motion to wait on.

    Motion methods raise Refused with the board's reason (uncalibrated, outside, duty_spent ...).
    """

    number: int
    board: Board

    def jog(self, speed_mm_s: float) -> Motion:
        """Hold-to-run at a speed, positive extends; a calibrated axis."""
        raise NotImplementedError

    def jog_output(self, output: float) -> Motion:
        """Hold-to-run at an output (-1..1, capped at creep by the board); an uncalibrated axis."""
        raise NotImplementedError

    def run(self, output: float) -> Motion:
        """Hold-to-run at an output (-1..1) for measuring; a calibrated axis."""
        raise NotImplementedError

    def seek(self, direction: int) -> Motion:
        """Creep to an end (1 extend, -1 retract); an uncalibrated axis."""
        raise NotImplementedError

    def move(self, target_mm: float, speed_mm_s: float = 0.0) -> Motion:
        """Go to a position, in mm from the retracted end; speed 0: the setting's."""
        raise NotImplementedError

    def stop(self, category: int = 1) -> None:
        """Stop this axis, whoever commands."""
        raise NotImplementedError

    def sample(self, timeout_s: float = 1.0) -> AxisSample:
        """The next sample of this axis. Raises NoAnswer when none comes."""
        raise NotImplementedError

    def clear(self) -> int:
        """Clear latched faults of this axis; returns the bits cleared."""
        raise NotImplementedError

    def outcome(self) -> Outcome:
        """How the last motion of this axis ended."""
        raise NotImplementedError

    def settings(self) -> dict[str, int]:
        """Live settings of this axis, wire units."""
        raise NotImplementedError


__all__ = ["Axis", "Board", "Event"]
