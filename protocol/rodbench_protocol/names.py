"""Names and numbers of the wire. Made by `python -m rodbench_protocol`."""

from __future__ import annotations

from enum import IntEnum, IntFlag
from typing import Final, NamedTuple

MAJOR: Final = 1
MINOR: Final = 1
FRAME_MAX: Final = 64
REPLY_FLAG: Final = 128
TICK_US: Final = 5000
BAUD: Final = 250000
ALIVE_PERIOD_MS: Final = 50
HOLD_MS: Final = 250
REPLY_TIMEOUT_MS: Final = 150
TRIES: Final = 3
STOP_FRAME_MAX: Final = 16
SCHEMA_DIGEST: Final = 0x9F90B2BA


class MessageId(IntEnum):
    """Message ids without the reply flag."""

    HELLO = 0x01
    OPEN = 0x02
    COUNTERS = 0x03
    STOP = 0x10
    CLEAR = 0x11
    JOG = 0x12
    RUN = 0x13
    SEEK = 0x14
    MOVE = 0x15
    OUTCOME = 0x16
    RESTART = 0x17
    DRAFT_BEGIN = 0x20
    DRAFT_SET = 0x21
    DRAFT_CHECK = 0x22
    DRAFT_COMMIT = 0x23
    DRAFT_DISCARD = 0x24
    STORE = 0x25
    SETTINGS_GET = 0x26
    DIGESTS = 0x27
    SUBSCRIBE = 0x30
    ALIVE = 0x60
    TELEMETRY_AXIS = 0x70
    TELEMETRY_BOARD = 0x71
    EVENT = 0x72


class Status(IntEnum):
    """Why a request was, or was not, carried out."""

    OK = 0
    MALFORMED = 1
    UNKNOWN_MESSAGE = 2
    NO_SESSION = 3
    SEQUENCE = 4
    WRONG_NONCE = 5
    PROTOCOL_MAJOR = 6
    BAD_VALUE = 7
    UNKNOWN_SETTING = 8
    SETTING_RANGE = 9
    CROSS_RULE = 10
    NO_DRAFT = 11
    IN_MOTION = 12
    FAULTED = 13
    NOT_FITTED = 14
    UNCALIBRATED = 15
    CALIBRATED = 16
    OUTSIDE = 17
    DUTY_SPENT = 18
    BUSY = 19
    NOT_SUPPORTED = 20
    SESSION_IN_USE = 21
    STOP_STANDING = 22


class BoardKind(IntEnum):
    """Kinds of board; the table [board_kinds] has their figures."""

    ATMEGA328P_5V = 1
    POSIX_3V3 = 2


class ResetCause(IntEnum):
    """Why the board started."""

    UNKNOWN = 0
    POWER_ON = 1
    EXTERNAL = 2
    BROWN_OUT = 3
    WATCHDOG = 4
    RESTART = 5
    ASSERTION = 6


class AxisState(IntEnum):
    """What an axis is doing."""

    NOT_FITTED = 0
    IDLE = 1
    JOG = 2
    RUN = 3
    SEEK = 4
    PROBE = 5
    MOVE = 6
    STOPPING = 7
    FAULT = 8


class Bridge(IntEnum):
    """What the H-bridge is told."""

    OFF = 0
    BRAKE = 1
    DRIVE = 2


class EventKind(IntEnum):
    """What happened."""

    BOOT = 1
    TRIP = 2
    MOTION_ENDED = 3
    SOFT_STOP = 4
    DUTY_SPENT = 5
    END_FOUND = 6
    STORED = 7
    CLEARED = 8
    LATE_TICK = 9


class Ended(IntEnum):
    """How the last motion of an axis ended."""

    NONE = 0
    RUNNING = 1
    REACHED = 2
    END_FOUND = 3
    STOPPED = 4
    SILENCE = 5
    SOFT_STOP = 6
    DUTY = 7
    FAULT = 8
    REPLACED = 9
    SESSION = 10
    UNFINISHED = 11


class Fault(IntEnum):
    """Latched faults, numbered from 1; bit (number - 1) in every faults field."""

    OVER_CURRENT = 1
    STALL = 2
    NO_CURRENT = 3
    POT_NOT_FOLLOWING = 4
    POT_BAND = 5
    WRONG_WAY = 6
    MOVE_SILENCE = 7
    WATCHDOG = 8
    SETTINGS = 9
    ASSERTION = 10
    NO_END = 11


class Feedback(IntEnum):
    """What tells the position."""

    NOT_FITTED = 0
    POT = 1
    NONE = 2


class StopBy(IntEnum):
    """How the bridge rests at output 0."""

    BRAKE = 0
    COAST = 1


class Driver(IntEnum):
    """How the H-bridge is wired."""

    PWM_AND_TWO_DIRECTION_LINES = 0
    PWM_AND_ONE_DIRECTION_LINE = 1
    TWO_PWM_INPUTS = 2
    PWM_INPUT_AND_LINE = 3


class CurrentSensor(IntEnum):
    """What measures the motor current."""

    NONE = 0
    ONE_SIDED = 1
    CENTRED = 2


class Which(IntEnum):
    """Which copy of the settings."""

    LIVE = 0
    DRAFT = 1


class JogUnit(IntEnum):
    """What a jog's value means."""

    OUTPUT = 0
    SPEED = 1


class Features(IntFlag):
    """What a board can do."""

    TWO_AXES = 0x1
    CURRENT_SENSE = 0x2
    SUPPLY_SENSE = 0x4


class AxisFlags(IntFlag):
    """Axis flags in telemetry."""

    CALIBRATED = 0x1
    PROVEN = 0x2
    OUTSIDE = 0x4
    HELD_BACK = 0x8
    BRAKING = 0x10
    NEAR_RETRACTED = 0x20
    NEAR_EXTENDED = 0x40
    BETWEEN = 0x80


class FaultBits(IntFlag):
    """Faults as bits."""

    OVER_CURRENT = 0x1
    STALL = 0x2
    NO_CURRENT = 0x4
    POT_NOT_FOLLOWING = 0x8
    POT_BAND = 0x10
    WRONG_WAY = 0x20
    MOVE_SILENCE = 0x40
    WATCHDOG = 0x80
    SETTINGS = 0x100
    ASSERTION = 0x200
    NO_END = 0x400


class AxisTelemetry(NamedTuple):
    """telemetry_axis; `counter` is the header's."""

    counter: int
    tick: int
    axis: int
    state: int
    flags: int
    raw: int
    position_um: int
    speed_um_s: int
    reference_um: int
    current_ma: int
    output_permille: int
    faults: int
    duty_used_permille: int
    motion: int


class BoardTelemetry(NamedTuple):
    """telemetry_board; `counter` is the header's."""

    counter: int
    tick: int
    supply_mv: int
    board_5v_mv: int
    inputs: int
    faults: int
    on_ticks_1: int
    on_ticks_2: int
    duty_left_1_ms: int
    duty_left_2_ms: int
    frames_bad: int
    late_ticks: int


class Event(NamedTuple):
    """event; `counter` is the header's."""

    counter: int
    tick: int
    number: int
    axis: int
    kind: int
    cause: int
    raw: int
    position_um: int
    current_ma: int
    output_permille: int
    value_a: int
    value_b: int
