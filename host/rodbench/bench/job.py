"""What every procedure works with: the board, the axis, the person, and where the talk goes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from rodbench_protocol.names import Ended, Fault, Feedback

from rodbench.board import Axis, AxisSample, Board, BoardSample, Motion, Outcome
from rodbench.clock import TICK_S
from rodbench.errors import Faulted, ProcedureError
from rodbench.settings import pot_table
from rodbench.settings.units import Units

from .ask import Asker
from .scale import Scale

REST_PERIOD_S = 0.01  # telemetry while readings are taken
SLOW_PERIOD_S = 0.05  # telemetry while creeping for long
BOARD_PERIOD_S = 0.2
# A host that stood still for longer was suspended: nothing then moves again by itself.
HICCUP_S = 2.0


def silent(_: str) -> None:
    """A reporter that nobody listens to."""


def unrecorded(_: str, __: Mapping[str, Any]) -> None:
    """A logbook that nobody keeps."""


@dataclass(slots=True)
class Job:
    """One procedure's surroundings.

    `say` takes lines of talk, `record` takes (kind, fields) for the logbook. Whoever wants a key
    to stop the rod adds a listener to `board.listeners` that raises: any exception stops it.
    """

    board: Board
    number: int
    asker: Asker
    say: Callable[[str], None] = silent
    record: Callable[[str, Mapping[str, Any]], None] = unrecorded
    live: dict[str, int] = field(default_factory=dict)
    board_live: dict[str, int] = field(default_factory=dict)
    at_start: dict[str, int] = field(default_factory=dict)  # `live` as the job found it
    gap_s: float = 0.0  # longest wait between two samples of the last motion
    units: Units = field(default_factory=Units)

    def __post_init__(self) -> None:
        self.live = self.board.read_scope(self.number)
        self.at_start = dict(self.live)
        self.board_live = self.board.read_scope(0)

    @property
    def axis(self) -> Axis:
        """The axis that the job is about."""
        return self.board.axis(self.number)

    @property
    def has_pot(self) -> bool:
        """Whether a pot tells where the axis's rod is."""
        return self.live["feedback"] == Feedback.POT

    @property
    def scale(self) -> Scale:
        """What the board's converter makes of volts."""
        return Scale.of(self.board.hello, self.board_live.get("board_5v_mv", 0))

    def commit(self, values: Mapping[str, int], *, store: bool = False) -> int:
        """Put keys of the axis in force, all or none; returns the axis's digest."""
        digest = self.board.write_scope(self.number, dict(values), store)
        self.live |= values
        return digest

    def hiccup(self, outcome: Outcome) -> bool:
        """Whether the board stopped a motion because this computer was busy for a moment."""
        short = outcome.ended == Ended.SILENCE and self.gap_s < HICCUP_S
        if short:
            self.say(
                f"       the link stood still for {self.gap_s:.1f} s and the rod stopped: again"
            )
        return short

    def samples(self, motion: Motion) -> Iterator[AxisSample]:
        """Samples of a motion until it ends, with the waits between them watched."""
        self.gap_s, last = 0.0, self.board.clock.now()
        for sample in motion.samples():
            now = self.board.clock.now()
            self.gap_s, last = max(self.gap_s, now - last), now
            yield sample
        self.gap_s = max(self.gap_s, self.board.clock.now() - last)

    def uncalibrate(self) -> None:
        """Take the axis out of use before anything about it is learned anew."""
        self.commit({"calibrated": 0})

    def forget_table(self) -> None:
        """Take the linearity table out: its places were of other ends."""
        if self.live.get("table_points"):
            self.commit(pot_table.NONE)

    @contextmanager
    def stopping(self) -> Iterator[None]:
        """Leaves the rod stopped whatever goes wrong inside."""
        try:
            yield
        except BaseException:
            self.board.stop(self.number, 1)
            raise


def rest_samples(job: Job, seconds: float) -> tuple[list[AxisSample], list[BoardSample]]:
    """Samples of the axis and the board while nothing moves."""
    job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
    seen = job.board.watch(seconds)
    axis = [s for s in seen if isinstance(s, AxisSample) and s.axis == job.number]
    return axis, [s for s in seen if isinstance(s, BoardSample)]


def settle(job: Job, seconds: float = 0.3) -> None:
    """Let the rod come to rest after a stop."""
    job.board.sleep(seconds)


def follow(
    job: Job,
    motion: Motion,
    seconds: float | None = None,
    inside: Callable[[float], bool] | None = None,
) -> list[AxisSample]:
    """Samples of a motion until it ends, or for `seconds` of board time, or while the pot's raw is
    `inside`."""
    samples: list[AxisSample] = []
    for sample in job.samples(motion):
        samples.append(sample)
        if inside is not None and not inside(sample.raw):
            break
        if seconds is not None and (sample.tick - samples[0].tick) * TICK_S >= seconds:
            break
    return samples


def cause_words(outcome: Outcome) -> str:
    """The fault that ended a motion, by name; a number for one of a newer firmware."""
    names = {fault.value: fault.name.lower().replace("_", " ") for fault in Fault}
    return names.get(outcome.cause, f"fault {outcome.cause}")


def refuse_fault(job: Job, outcome: Outcome, doing: str, kept: str = "") -> None:
    """Raise Faulted when a guard ended the motion; the fault stays latched for the person."""
    if outcome.ended != Ended.FAULT:
        return
    name = cause_words(outcome)
    what = f"{name} while {doing}"
    if job.has_pot:
        what += f", at raw {outcome.raw}"
    hint = f"Look at the rod, then: rodbench clear {job.number}"
    if outcome.cause in POT_FAULTS and job.live.get("calibrated"):
        # The direction was proven before: not the leads, the pot.
        what = f"the pot's reading jumped ({name}) while {doing}: worn track, or a loose wire?"
        hint = (
            f"rodbench clear {job.number}, then rodbench measure pot {job.number} finds the place"
        )
    raise Faulted(
        f"axis {job.number}: {what}",
        axis=job.number,
        fault=outcome.cause,
        kept=kept or NOT_STORED,
        hint=hint,
    )


POT_FAULTS = (
    Fault.WRONG_WAY,
    Fault.POT_BAND,
    Fault.POT_OPEN,
    Fault.POT_SHORT,
    Fault.POT_JUMP,
)
NOT_STORED = "The rod is stopped; nothing was stored on the board."
STORED = "The rod is stopped; the board keeps what was stored."


def failed(job: Job, what: str, hint: str, kept: str = NOT_STORED) -> ProcedureError:
    """A finding that the procedure must not go on with."""
    return ProcedureError(f"axis {job.number}: {what}", kept=kept, hint=hint)
