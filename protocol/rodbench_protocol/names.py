"""Names and numbers of the wire. Made by `python -m rodbench_protocol`."""

from __future__ import annotations

from enum import IntEnum, IntFlag
from typing import Final, NamedTuple

MAJOR: Final = 1
MINOR: Final = 2
FRAME_MAX: Final = 64
REPLY_FLAG: Final = 128
TICK_US: Final = 5000
BAUD: Final = 250000
ALIVE_PERIOD_MS: Final = 50
HOLD_MS: Final = 250
REPLY_TIMEOUT_MS: Final = 150
TRIES: Final = 3
STOP_FRAME_MAX: Final = 16
SCHEMA_DIGEST: Final = 0xF3951E28


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
    LEVEL = 0x18
    HAND_OVER = 0x19
    CREDIT_OFF = 0x1A
    DRAFT_BEGIN = 0x20
    DRAFT_SET = 0x21
    DRAFT_CHECK = 0x22
    DRAFT_COMMIT = 0x23
    DRAFT_DISCARD = 0x24
    STORE = 0x25
    SETTINGS_GET = 0x26
    DIGESTS = 0x27
    TRIP_GET = 0x28
    BLACK_BOX = 0x29
    TOTALS = 0x2A
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
    GANGED = 23
    LOCAL_CONTROL = 24
    NOTHING_KEPT = 25


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
    ARMED = 10
    SOURCE_LOST = 11
    HANDED_OVER = 12
    FOLD_BACK = 13
    WARM = 14


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
    GANG = 12


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
    POT_OPEN = 12
    POT_SHORT = 13
    POT_JUMP = 14
    MOVING_OFF = 15
    FOLLOWING = 16
    THERMAL = 17
    SUPPLY_LOW = 18
    SUPPLY_HIGH = 19
    STOP_INPUT = 20
    APART = 21
    LATE_TICK = 22


class StopInput(IntEnum):
    """How the stop input is wired."""

    NOT_WIRED = 0
    NORMALLY_CLOSED = 1


class Commander(IntEnum):
    """Who commands an axis."""

    HOST = 0
    LOCAL = 1


class LocalSource(IntEnum):
    """What an axis is commanded by without a computer."""

    NONE = 0
    BUTTONS = 1
    STICK = 2
    PULSE = 3


class LocalAs(IntEnum):
    """What a local input means."""

    SPEED = 0
    POSITION = 1


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
    LOCAL_CONTROL = 0x8
    TRIP_LOG = 0x10
    BLACK_BOX = 0x20
    GANG = 0x40


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


class AxisAlso(IntFlag):
    """More axis flags in telemetry."""

    LOCAL = 0x1
    ARMED = 0x2
    SOURCE_LOST = 0x4
    GANGED = 0x8
    FOLDED_BACK = 0x10
    WARM = 0x20


class Inputs(IntFlag):
    """The board's inputs; 1: closed to ground."""

    STOP = 0x1
    EXTEND_1 = 0x2
    RETRACT_1 = 0x4
    EXTEND_2 = 0x8
    RETRACT_2 = 0x10


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
    POT_OPEN = 0x800
    POT_SHORT = 0x1000
    POT_JUMP = 0x2000
    MOVING_OFF = 0x4000
    FOLLOWING = 0x8000
    THERMAL = 0x10000
    SUPPLY_LOW = 0x20000
    SUPPLY_HIGH = 0x40000
    STOP_INPUT = 0x80000
    APART = 0x100000
    LATE_TICK = 0x200000


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
    also: int


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
    duty_ready_1_ms: int
    duty_ready_2_ms: int
    heat_1_permille: int
    heat_2_permille: int
    local_1: int
    local_2: int


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
