"""What the board says, in mm, mm/s, A, V and s."""

from __future__ import annotations

from dataclasses import dataclass, field

from rodbench_protocol.names import AxisState

RESTING = (AxisState.NOT_FITTED, AxisState.IDLE, AxisState.FAULT)
RUNNING = (AxisState.JOG, AxisState.RUN, AxisState.SEEK, AxisState.PROBE, AxisState.MOVE)
NOT_TOLD = -1
"""In place of a frame's counter: one for all that comes unasked in a session, 0 to 255 and again
from 0, so that whoever takes every sample sees when one is missing."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Who is there. Digests are CRC-32 of the settings; `digest_stored` 0: none stored."""

    protocol_major: int
    protocol_minor: int
    schema_digest: int
    boot_nonce: int
    firmware: str  # "major.minor.patch"
    name: str
    board_kind: int
    axis_count: int
    features: int
    reset_cause: int
    adc_full_scale: int  # greatest raw of a pot
    adc_reference_v: float
    current_full_scale: int  # greatest raw of a current input
    board_id: int
    digest_live: int
    digest_stored: int


@dataclass(frozen=True, slots=True)
class AxisSample:
    """One axis at one tick. Positive extends. `state` is enum axis_state, `faults` a bit field.

    While uncalibrated `position_mm`, `speed_mm_s` and `reference_mm` are None, and `speed_raw_s`
    is the speed in raw per second (None once calibrated). `place` is where a rod without a pot is
    known to be: "retracted", "extended" (near that end), "between"; None: unknown, or it has a pot.
    From `local` on: False on a board older than protocol 1.2, which has none of it.
    """

    tick: int
    axis: int
    state: int
    raw: int
    position_mm: float | None
    speed_mm_s: float | None
    speed_raw_s: float | None
    reference_mm: float | None
    current_a: float
    output: float  # -1 .. 1 of full
    faults: int
    duty_used: float  # 0 .. 1 of the budget
    motion: int
    calibrated: bool
    proven: bool
    outside: bool
    held_back: bool
    braking: bool
    place: str | None = None
    local: bool = False  # its local input commands, not the host
    armed: bool = False  # the local input was seen at rest
    source_lost: bool = False
    ganged: bool = False
    folded_back: bool = False
    warm: bool = False
    counter: int = field(default=NOT_TOLD, compare=False)

    @property
    def time_s(self) -> float:
        """Board time in s since its start."""
        return self.tick * 0.005


@dataclass(frozen=True, slots=True)
class BoardSample:
    """The board at one tick. Pairs are of axis 1 and 2.

    None from `duty_ready_s` on, and for `inputs`: the board is older than protocol 1.2 and does not
    say it."""

    tick: int
    supply_v: float
    board_5v: float | None  # from the bandgap, +-10 %; None: not read yet
    inputs: int | None  # bits of Inputs in the protocol's names, 1: closed to ground
    faults: int
    on_ticks: tuple[int, int]
    duty_left_s: tuple[float, float]
    frames_bad: int
    late_ticks: int
    duty_ready_s: tuple[float, float] | None = None  # until all of the budget is there, at rest
    heat: tuple[float, float] | None = None  # 1: where the rated current ends up
    local: tuple[int, int] | None = None  # stick in raw or pulse in us; 0: no pulse
    counter: int = field(default=NOT_TOLD, compare=False)

    @property
    def time_s(self) -> float:
        """Board time in s since its start."""
        return self.tick * 0.005


@dataclass(frozen=True, slots=True)
class Event:
    """Something happened: `kind` is enum event_kind, `cause` depends on the kind."""

    tick: int
    number: int
    axis: int  # 0: the board
    kind: int
    cause: int
    raw: int
    position_mm: float
    current_a: float
    output: float
    value_a: int
    value_b: int
    counter: int = field(default=NOT_TOLD, compare=False)

    @property
    def time_s(self) -> float:
        """Board time in s since its start."""
        return self.tick * 0.005


Sample = AxisSample | BoardSample | Event


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a motion ended, with the evidence. `ended` is enum ended; `cause` the fault's number
    when a fault ended it. Currents of a seek: mean while running, over the dwell, in the probe."""

    axis: int
    motion: int
    ended: int
    cause: int
    raw: int
    position_mm: float
    current_before_a: float
    current_stop_a: float
    current_probe_a: float
    on_ticks: int

    @property
    def on_time_s(self) -> float:
        """Time with output not 0, in s."""
        return self.on_ticks * 0.005


@dataclass(frozen=True, slots=True)
class Trip:
    """One trip of the trip log. `number` counts all trips of the board, and wraps after 65535.

    `position_mm` None: the axis was uncalibrated (or read 0 to the um), or the board tripped."""

    number: int
    axis: int  # 0: the board
    fault: int
    position_mm: float | None
    raw: int
    current_a: float
    supply_v: float  # as read
    output: float  # of the tick before, -1 .. 1
    uptime_min: int
    or_more: bool  # the board counts no further than this many minutes

    @property
    def uptime_s(self) -> float:
        """Time since that start of the board in s, whole minutes."""
        return self.uptime_min * 60.0


@dataclass(frozen=True, slots=True)
class BoxSample:
    """One sample of the black box. `time_s` counts to the trip, so it is below 0.

    The board keeps steps: 8 raw, 3.2 % of output, 0.064 A; `raw` is the middle of its step.
    """

    time_s: float
    raw: int
    position_mm: float | None  # by the settings in force now; None while uncalibrated
    output: float
    current_a: float


@dataclass(frozen=True, slots=True)
class BlackBox:
    """The last 0.3 s of `axis` before the first trip since the last motion began."""

    axis: int
    trip_axis: int  # 0: the board
    trip_fault: int
    samples: tuple[BoxSample, ...]


@dataclass(frozen=True, slots=True)
class Totals:
    """What an axis has done in all. `travel_mm` counts while calibrated, and not without a pot."""

    axis: int
    on_s: int
    starts: int
    travel_mm: int
