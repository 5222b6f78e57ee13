"""One axis: what it is asked to do, what it does in each tick. Sibling of axis.c."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import (
    HOLD_MS,
    AxisAlso,
    AxisFlags,
    AxisState,
    Bridge,
    CurrentSensor,
    Ended,
    EventKind,
    Fault,
    Feedback,
    JogUnit,
    Status,
    StopBy,
)
from rodbench_protocol.schema import load_schema

from rodbench.emulator.twin.div import div_up
from rodbench.emulator.twin.guard import (
    Guard,
    GuardIn,
    guard_begin,
    guard_motion,
    guard_moving_off,
    guard_over_current,
    guard_pot_band,
    guard_runs,
)
from rodbench.emulator.twin.motion import (
    MOTION_ARRIVED,
    MOTION_BEHIND,
    MOTION_FAR,
    MOTION_GOING,
    MOTION_RAMPED_DOWN,
    Motion,
    MotionIn,
    motion_begin,
    motion_begin_run,
    motion_change,
    motion_dead,
    motion_forbids,
    motion_full_speed,
    motion_tick,
    motion_tolerance,
)
from rodbench.emulator.twin.number import between
from rodbench.emulator.twin.position import (
    POSITION_BLOCK,
    Position,
    position_block_um,
    position_count_um,
    position_new_block,
    position_speed,
    position_um,
    position_update,
)
from rodbench.emulator.twin.seek import SEEK_FOUND, SEEK_GOING, Seek, seek_begin, seek_tick

TICK_MS = 5
TICKS_PER_S = 200
HOLD_TICKS = HOLD_MS // TICK_MS
RAMP_OPEN = 30
RESERVE_OPEN = 26
RUN_UP = 17
REST_BLOCKS = 12
RESERVE_FULL = 36
INCHES = 6
WAY_STEP = 32
AXIS_EVENTS_MAX = 4
TOO_WARM = 0x80
AXIS_RESTS_OFF = 0
AXIS_RESTS_BY_SETTING = 1
AXIS_RESTS_BRAKED = 2
FOLD_LEAST = 10
FOLD_MOST = 250
UNFOLDED = 255
KIND = load_schema().board_kinds["atmega328p_5v"]

# Plain ints: an enumeration's members cost several times as much to compare.
_NOT_FITTED, _IDLE = int(AxisState.NOT_FITTED), int(AxisState.IDLE)
_JOG, _RUN, _SEEK = int(AxisState.JOG), int(AxisState.RUN), int(AxisState.SEEK)
_PROBE, _MOVE = int(AxisState.PROBE), int(AxisState.MOVE)
_STOPPING, _FAULT = int(AxisState.STOPPING), int(AxisState.FAULT)
_CALIBRATED, _PROVEN = int(AxisFlags.CALIBRATED), int(AxisFlags.PROVEN)
_OUTSIDE, _HELD_BACK = int(AxisFlags.OUTSIDE), int(AxisFlags.HELD_BACK)
_WARM = int(AxisAlso.WARM)
_BRAKING = int(AxisFlags.BRAKING)
_FOLDED_BACK = int(AxisAlso.FOLDED_BACK)
_LOCAL_ALSO, _ARMED = int(AxisAlso.LOCAL), int(AxisAlso.ARMED)
_NO_SENSOR, _CENTRED = int(CurrentSensor.NONE), int(CurrentSensor.CENTRED)
_NOTHING_FITTED, _TWO_WIRES = int(Feedback.NOT_FITTED), int(Feedback.NONE)
_NEAR_RETRACTED, _NEAR_EXTENDED = int(AxisFlags.NEAR_RETRACTED), int(AxisFlags.NEAR_EXTENDED)
_BETWEEN = int(AxisFlags.BETWEEN)
_KNOWN = _NEAR_RETRACTED | _NEAR_EXTENDED | _BETWEEN
_NO_CURRENT = int(Fault.NO_CURRENT)
_BRIDGE_OFF, _BRIDGE_BRAKE = int(Bridge.OFF), int(Bridge.BRAKE)
_BRIDGE_DRIVE, _BY_BRAKE = int(Bridge.DRIVE), int(StopBy.BRAKE)
_RUNNING, _REPLACED = int(Ended.RUNNING), int(Ended.REPLACED)


class AxisIn:
    """axis_in_t."""

    __slots__ = (
        "board_mv",
        "current4",
        "duty_room",
        "heat",
        "raw",
        "supply_mv",
        "supply_nominal_mv",
        "tick",
        "waits",
    )

    def __init__(self) -> None:
        self.tick = self.duty_room = self.raw = self.current4 = 0
        self.supply_mv = self.supply_nominal_mv = self.board_mv = 0
        self.heat = 0
        self.waits = False


class AxisEvent:
    """axis_event_t."""

    __slots__ = ("cause", "kind", "value_a", "value_b")

    def __init__(self, kind: int, cause: int, value_a: int, value_b: int) -> None:
        self.kind = kind
        self.cause = cause
        self.value_a = value_a
        self.value_b = value_b


class AxisOut:
    """axis_out_t."""

    __slots__ = ("bridge", "drive", "event", "output_before")

    def __init__(self) -> None:
        self.drive = self.bridge = self.output_before = 0
        self.event: list[AxisEvent] = []


class Local:
    """local_t."""

    __slots__ = ("asked", "lost", "quiet", "value")

    def __init__(self) -> None:
        self.value = self.asked = self.quiet = self.lost = 0


class Axis:
    """axis_t."""

    def __init__(self) -> None:
        self.state = _NOT_FITTED
        self.flags = self.cause = self.motion = self.raw = self.faults = 0
        self.ended = int(Ended.NONE)
        self.position_um = self.speed_um_s = self.reference_um = 0
        self.current_ma = self.output_permille = 0
        self.rest_raw = self.rest_position_um = self.on_ticks = 0
        self.current_before_ma = self.current_stop_ma = self.current_probe_ma = 0
        self.also = _LOCAL_ALSO  # without a local input not for long
        self.local = Local()
        self.command = self.stop_reason = self.left_reason = 0
        self.resting = self.inches = self.changed = self.used = self.last_sign = 0
        self.trial = self.wait = 0
        self.ceiling = self.reserve = self.hold_ticks = self.hold_until = 0
        self.demand = self.demand_um_s = self.from_um = 0
        self.whole_way = self.way = 0
        self.rest_block = self.current_scale = self.board_mv = 0
        self.position = Position()
        self.track = Motion()
        self.seek = Seek()
        self.guard = Guard()
        self._motion_view = MotionIn()  # no state: C reads the axis itself
        self._guard_view = GuardIn()


def _int32(value: int) -> int:
    return ((value + 0x80000000) & 0xFFFFFFFF) - 0x80000000


def axis_is_moving(axis: Axis) -> bool:
    """A motion is commanded, and neither stopping nor waiting for rest behind a stop."""
    return _JOG <= axis.state <= _MOVE


def _is_under_way(axis: Axis) -> bool:
    return _JOG <= axis.state <= _STOPPING


def axis_init(axis: Axis) -> None:
    """At start."""
    axis.__init__()  # type: ignore[misc]


def axis_disarm(axis: Axis) -> None:
    """Nothing more by the local input of this axis, until it was seen at rest."""
    axis.also &= ~_ARMED
    axis.local.quiet = 0
    axis.local.asked = 0


def axis_settings_changed(axis: Axis) -> None:
    """Settings of this axis were replaced."""
    axis_disarm(axis)
    axis.position.__init__()  # type: ignore[misc]
    axis.current_scale = 0
    axis.flags = 0
    guard_begin(axis.guard)


def axis_at_rest(axis: Axis) -> bool:
    """No motion under way and output 0."""
    return not _is_under_way(axis) and axis.output_permille == 0


# ---------------------------------------------------------------- readings


def _take_current(axis: Axis, settings: Any, axis_in: AxisIn) -> None:
    board_mv = KIND.adc_reference_mv if settings.current_sensor_ratiometric else axis_in.board_mv
    if axis.current_scale == 0 or axis.board_mv != board_mv:
        axis.board_mv = board_mv
        uv_q9 = board_mv * 128000 // (KIND.current_full_scale // 4)
        axis.current_scale = max(uv_q9 * 4 // settings.current_uv_per_ma, 1)
    if settings.current_sensor == _NO_SENSOR:
        axis.current_ma = 0
        return
    counts = axis_in.current4 - settings.current_zero
    if settings.current_sensor == _CENTRED:
        counts = abs(counts)
    axis.current_ma = between((counts * axis.current_scale) >> 11, -32767, 32767)


def _beyond_max(axis: Axis, settings: Any) -> int:
    return axis.position_um - settings.soft_stop_max_um  # type: ignore[no-any-return]


def _is_outside(axis: Axis, settings: Any) -> bool:
    most = max(_beyond_max(axis, settings), settings.soft_stop_min_um - axis.position_um)
    return most > position_count_um(axis.position) + axis.position.noise_um  # type: ignore[no-any-return]


def _take_readings(axis: Axis, settings: Any, axis_in: AxisIn) -> None:
    _take_current(axis, settings, axis_in)
    position = axis.position
    two_wires = settings.feedback == _TWO_WIRES
    position_update(position, settings, axis.way if two_wires else axis_in.raw)
    axis.position_um = position_um(position)
    axis.speed_um_s = 0 if two_wires else position_speed(position)
    axis.flags &= _PROVEN | _KNOWN
    if settings.calibrated:
        axis.flags |= _CALIBRATED
        if _is_outside(axis, settings):
            axis.flags |= _OUTSIDE


def _end_towards(direction: int) -> int:
    return _NEAR_RETRACTED if direction < 0 else _NEAR_EXTENDED


def _know(axis: Axis, flag: int) -> None:
    """Where a rod without a pot is known to be; 0: unknown."""
    axis.flags = axis.flags & ~_KNOWN | flag


def _see_proof(axis: Axis, settings: Any) -> None:
    if not settings.calibrated or axis.last_sign == 0:
        return
    went = (axis.position_um - axis.from_um) * axis.last_sign
    if went >= max(1000, axis.position.noise_um * 2):
        axis.flags |= _PROVEN


def _look(axis: Axis, axis_in: AxisIn) -> MotionIn:
    view = axis._motion_view
    view.um = axis.position_um
    view.um_s = axis.speed_um_s
    view.count_um = position_count_um(axis.position)
    view.noise_um = axis.position.noise_um
    view.wait = axis.wait
    view.supply_mv = axis_in.supply_mv
    view.supply_nominal_mv = axis_in.supply_nominal_mv
    view.creep = int(axis.flags & (_PROVEN | _OUTSIDE) != _PROVEN)
    return view


# ---------------------------------------------------------------- commands


def _refuse(axis: Axis, settings: Any, needs_calibrated: int) -> int:
    if settings.feedback == _NOTHING_FITTED:
        return Status.NOT_FITTED
    if axis.faults != 0:
        return Status.FAULTED
    if needs_calibrated != settings.calibrated:
        return Status.UNCALIBRATED if needs_calibrated else Status.CALIBRATED
    return Status.OK


def _refuse_by_current(axis: Axis, settings: Any, needs_calibrated: int) -> int:
    status = _refuse(axis, settings, needs_calibrated)
    blind = settings.feedback == _TWO_WIRES and settings.current_sensor == _NO_SENSOR
    return Status.NOT_SUPPORTED if status == Status.OK and blind else status


def _refuse_start(axis: Axis, command: int) -> int:
    if axis.state == _STOPPING and not axis.resting:
        return Status.STOP_STANDING
    return Status.IN_MOTION if axis_is_moving(axis) and axis.command != command else Status.OK


def _begin(axis: Axis, tick: int, command: int, hold_ticks: int) -> None:
    if axis.trial:
        return
    if axis.ended == _RUNNING:
        axis.left_reason = _REPLACED if axis_is_moving(axis) else axis.stop_reason
    axis.motion = (axis.motion + 1) & 0xFFFF or 1
    axis.state = command
    axis.command = command
    axis.ended = _RUNNING
    axis.cause = 0
    axis.on_ticks = 0
    axis.rest_raw = 0
    axis.rest_position_um = 0
    axis.current_before_ma = axis.current_stop_ma = axis.current_probe_ma = 0
    axis.inches = 0
    axis.wait = 0
    if axis.output_permille == 0:
        guard_begin(axis.guard)
        axis.reserve = 0
        axis.ceiling = UNFOLDED
    axis.hold_ticks = hold_ticks
    axis.hold_until = (tick + hold_ticks) & 0xFFFFFFFF


def _demand(axis: Axis, value: int, um_s: int, reserve: int) -> None:
    if axis.trial:
        return
    axis.demand = value
    axis.demand_um_s = um_s
    axis.changed = 1
    axis.reserve = max(axis.reserve, min(reserve, 65535))


def _goes_further_out(axis: Axis, settings: Any, value: int) -> bool:
    return bool(axis.flags & _OUTSIDE) and (_beyond_max(axis, settings) > 0) == (value > 0)


def _run_down(settings: Any, full_um_s: int) -> int:
    return int(min(min(settings.deceleration_um_s2, 400000) * TICK_MS // full_um_s + 1, 1000))


def _ramp_ticks(settings: Any, um_s: int) -> int:
    return div_up(um_s * TICKS_PER_S, settings.deceleration_um_s2) + 2


def _hold_to_run(axis: Axis, settings: Any, tick: int, command: int, value: int) -> int:
    """Status; OK: demand the value, unless it is 0."""
    status = _refuse_start(axis, command)
    if value == 0 and status != Status.IN_MOTION:
        axis_stop(axis, settings, 1, Ended.STOPPED)
        return Status.OK
    if status == Status.OK and _goes_further_out(axis, settings, value):
        return Status.OUTSIDE
    if status == Status.OK and not axis_is_moving(axis):
        _begin(axis, tick, command, HOLD_TICKS)
    return status


def axis_jog(axis: Axis, settings: Any, tick: int, unit: int, value: int) -> int:
    """Status.OK, or why not."""
    if unit > JogUnit.SPEED:
        return Status.BAD_VALUE
    status = _refuse(axis, settings, unit)
    if status != Status.OK:
        return status
    most = settings.speed_max_um_s if unit == JogUnit.SPEED else 1000
    if value > most or value < -most:
        return Status.BAD_VALUE
    status = _hold_to_run(axis, settings, tick, _JOG, value)
    if status != Status.OK or value == 0:
        return status
    if unit == JogUnit.SPEED:
        um_s = abs(value)
        target = -MOTION_FAR if value < 0 else MOTION_FAR
        _demand(axis, target, um_s, _ramp_ticks(settings, um_s))
    else:
        most = settings.creep_output_permille
        _demand(axis, between(value, -most, most), 0, RESERVE_OPEN)
    return status


def _run_to_end(axis: Axis, settings: Any, tick: int, output_permille: int) -> int:
    """Without a pot: to the end that the sign names, decided by current and time."""
    if settings.stroke_time_extend_cs == 0 or settings.stroke_time_retract_cs == 0:
        return Status.UNCALIBRATED
    most = settings.output_max_permille
    if output_permille and -most < output_permille < most:
        return Status.BAD_VALUE
    if output_permille and axis_is_moving(axis):
        return Status.IN_MOTION
    status = _hold_to_run(axis, settings, tick, _RUN, output_permille)
    if status == Status.OK and output_permille:
        axis.whole_way = int(axis.flags & _end_towards(-output_permille) != 0)
        _demand(axis, -most if output_permille < 0 else most, 0, RESERVE_FULL)
    return status


def axis_run(axis: Axis, settings: Any, tick: int, output_permille: int) -> int:
    """Status.OK, or why not."""
    two_wires = settings.feedback == _TWO_WIRES
    status = _refuse_by_current(axis, settings, int(not two_wires))
    if status != Status.OK:
        return status
    if output_permille > 1000 or output_permille < -1000:
        return Status.BAD_VALUE
    if two_wires:
        return _run_to_end(axis, settings, tick, output_permille)
    status = _hold_to_run(axis, settings, tick, _RUN, output_permille)
    if status == Status.OK and output_permille:
        fastest = max(motion_full_speed(settings, 1), motion_full_speed(settings, -1))
        reserve = div_up(1000, _run_down(settings, fastest)) + 2
        _demand(axis, output_permille, settings.creep_speed_um_s, reserve)
    return status


def axis_seek(axis: Axis, settings: Any, tick: int, direction: int) -> int:
    """Status.OK, or why not."""
    status = _refuse_by_current(axis, settings, 0)
    if status != Status.OK:
        return status
    if direction not in (1, -1):
        return Status.BAD_VALUE
    if axis_is_moving(axis):
        return Status.IN_MOTION
    status = _hold_to_run(axis, settings, tick, _SEEK, direction)
    if status == Status.OK:
        _demand(axis, direction, 0, RESERVE_OPEN)
    return status


def axis_move(axis: Axis, settings: Any, tick: int, target_um: int, speed_um_s: int) -> int:
    """Status.OK, or why not."""
    status = _refuse(axis, settings, 1)
    if status != Status.OK:
        return status
    if speed_um_s < 0 or speed_um_s > settings.speed_max_um_s:
        return Status.BAD_VALUE
    if target_um < settings.soft_stop_min_um or target_um > settings.soft_stop_max_um:
        return Status.OUTSIDE
    status = _refuse_start(axis, _MOVE)
    if status == Status.OK and not axis.trial:
        um_s = settings.speed_max_um_s if speed_um_s == 0 else speed_um_s
        _begin(axis, tick, _MOVE, settings.move_hold_ms // TICK_MS)
        _demand(axis, target_um, um_s, _ramp_ticks(settings, um_s))
    return status


def _rest_now(axis: Axis) -> None:
    axis.resting = 1
    axis.rest_block = axis.position.block
    position_new_block(axis.position)


def _ramp_down(axis: Axis) -> None:
    """With no more output than now: a rod that is held is not pushed harder for a stop."""
    axis.track.ramp_down = abs(axis.output_permille)


def axis_stop(axis: Axis, settings: Any, category: int, reason: int) -> None:
    """Category 0: output off in this very tick; anything else: a ramp. At rest: nothing."""
    if not _is_under_way(axis):
        return
    if axis.state != _STOPPING:
        axis.state = _STOPPING
        axis.stop_reason = int(reason)
        if settings.calibrated:
            _ramp_down(axis)
    if not axis.resting and (category != 1 or axis.output_permille == 0):
        _rest_now(axis)


def axis_stop_by_board(axis: Axis, settings: Any, fault: int) -> None:
    """A fault of the board stops the axis whatever commands it, each tick while one stands."""
    at_once = fault == Fault.SUPPLY_HIGH
    if axis.ended == _RUNNING:
        axis.cause = int(fault)
    if at_once and axis.used != AXIS_RESTS_OFF:
        axis.used = AXIS_RESTS_BRAKED
    axis_stop(axis, settings, int(not at_once), Ended.FAULT)


def axis_renew(axis: Axis, echoed_tick: int) -> None:
    """The host's echo of a tick. Never revives an ended motion."""
    until = (echoed_tick + axis.hold_ticks) & 0xFFFFFFFF
    if _int32(until - axis.hold_until) > 0:
        axis.hold_until = until


def axis_clear(axis: Axis) -> int:
    """Faults that stood and are cleared; 0 in motion."""
    if not axis_at_rest(axis) or axis.faults == 0:
        return 0
    stood = axis.faults
    axis.faults = 0
    axis.state = _IDLE
    guard_begin(axis.guard)
    return stood


# ---------------------------------------------------------------- ends


def _tell(axis: Axis, out: AxisOut, kind: int, cause: int) -> AxisEvent:
    event = AxisEvent(int(kind), int(cause), axis.motion, axis.on_ticks)
    if len(out.event) == AXIS_EVENTS_MAX:
        out.event.pop()
    out.event.append(event)
    return event


def _tell_left(axis: Axis, out: AxisOut) -> None:
    if axis.left_reason != 0:
        event = _tell(axis, out, EventKind.MOTION_ENDED, axis.left_reason)
        event.value_a = 65535 if axis.motion == 1 else axis.motion - 1
        event.value_b = 0
        axis.left_reason = 0


def _end(axis: Axis, out: AxisOut, reason: int) -> None:
    axis.ended = int(reason)
    axis.resting = 0
    axis.state = _FAULT if axis.faults != 0 else _IDLE
    _tell(axis, out, EventKind.MOTION_ENDED, reason)


def _latch(axis: Axis, out: AxisOut, fault: int) -> None:
    bit = 1 << (fault - 1)
    if axis.ended == _RUNNING:
        axis.cause = fault
    if not axis.faults & bit:
        axis.faults |= bit
        _tell(axis, out, EventKind.TRIP, fault)


def _trip(axis: Axis, out: AxisOut, fault: int) -> None:
    _latch(axis, out, fault)
    if fault == Fault.OVER_CURRENT:
        axis.used = AXIS_RESTS_OFF
    if axis.ended == _RUNNING:
        axis.rest_raw = axis.raw
        axis.rest_position_um = axis.position_um
        _end(axis, out, Ended.FAULT)
    axis.state = _FAULT


def _end_silent_hold(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    if axis_is_moving(axis) and _int32(axis_in.tick - axis.hold_until) > 0:
        if axis.command == _MOVE:
            _latch(axis, out, int(Fault.MOVE_SILENCE))
        axis_stop(axis, settings, 1, Ended.SILENCE)


def _spend_duty(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    if axis_is_moving(axis) and axis_in.duty_room <= axis.reserve:
        _tell(axis, out, EventKind.DUTY_SPENT, 0)
        axis_stop(axis, settings, 1, Ended.DUTY)
    if axis_in.duty_room == 0:
        axis_stop(axis, settings, 0, Ended.DUTY)


# ---------------------------------------------------------------- guards


def _watch_heat(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    """Once too warm, it trips again until it has come 1 % below the warning level."""
    heat, warn = axis_in.heat, settings.thermal_warn_percent * 10
    if heat < warn - 10:
        axis.also &= ~(_WARM | TOO_WARM)
    elif heat >= warn and not axis.also & _WARM:
        axis.also |= _WARM
        _tell(axis, out, EventKind.WARM, 0)
    if heat >= settings.thermal_trip_percent * 10:
        axis.also |= TOO_WARM
    if axis.also & TOO_WARM:
        _latch(axis, out, int(Fault.THERMAL))
        axis_stop(axis, settings, 1, Ended.FAULT)
        if not _is_under_way(axis):
            axis.state = _FAULT


def _arrive(axis: Axis, settings: Any, out: AxisOut) -> None:
    """The way is over: a move waits for rest and is judged, a jog has come to its soft stop."""
    if axis.state == _MOVE:
        _rest_now(axis)
    else:
        _tell(axis, out, EventKind.SOFT_STOP, 0)
        axis_stop(axis, settings, 0, Ended.SOFT_STOP)


def _is_near_its_goal(axis: Axis, settings: Any) -> bool:
    if axis.state not in (_MOVE, _JOG) or not settings.calibrated:
        return False
    left = (axis.track.target >> 8) - axis.position_um * axis.track.direction
    return abs(left) <= motion_tolerance(settings)


def _judge_current(axis: Axis, settings: Any, out: AxisOut, fault: int, time_cs: int) -> None:
    """The motor has not drawn what a running one does for the stall time: an end, or not."""
    guard, end_there = axis.guard, _end_towards(axis.guard.direction)
    lost = fault == _NO_CURRENT
    found = bool(axis.flags & end_there) or (lost and guard.moved)
    if axis.command != _RUN:
        fault = 0 if lost else fault
    elif not axis.whole_way:
        fault = 0
    else:
        found = guard.moved and (axis.on_ticks - guard.still_ticks) * 5 >= time_cs * 8
    if found:
        _know(axis, end_there)
        axis_stop(axis, settings, 0, Ended.END_FOUND)
    elif fault:
        _trip(axis, out, fault)
    else:
        axis.flags &= ~_BETWEEN
        axis_stop(axis, settings, 0, Ended.UNFINISHED)


def _watch_current(axis: Axis, settings: Any, out: AxisOut, view: GuardIn, fault: int) -> None:
    time_cs = settings.stroke_time_extend_cs
    if axis.guard.direction < 0:
        time_cs = settings.stroke_time_retract_cs
    if guard_runs(axis.guard, settings, view):
        axis.way = (axis.way + WAY_STEP) & 0xFFFF
        if axis.command == _RUN and axis.on_ticks * 5 >= time_cs * 12:
            _trip(axis, out, int(Fault.NO_END))
    elif fault and settings.current_sensor != _NO_SENSOR and axis.command != _SEEK:
        _judge_current(axis, settings, out, fault, time_cs)


def _watch_motion(axis: Axis, settings: Any, out: AxisOut) -> None:
    view = axis._guard_view
    view.output_permille = axis.output_permille
    view.current_ma = axis.current_ma
    view.current_lsb_ma = min(axis.current_scale >> 9, 32767)
    view.um = axis.position_um
    view.slow_um_s = min(settings.creep_speed_um_s, axis.demand_um_s)
    view.folded_back = axis.also & _FOLDED_BACK
    fault = guard_motion(axis.guard, settings, axis.position, view)
    if settings.feedback == _TWO_WIRES:
        _watch_current(axis, settings, out, view, fault)
    elif fault == _NO_CURRENT and not settings.calibrated:
        reason = Ended.END_FOUND if axis.guard.moved else Ended.UNFINISHED
        axis_stop(axis, settings, 0, reason)
    elif fault not in (0, Fault.WRONG_WAY) and _is_near_its_goal(axis, settings):
        axis.inches = INCHES  # a load that grows on the way bars the rest of it
        _arrive(axis, settings, out)
    elif fault != 0:
        _trip(axis, out, fault)


def _watch(axis: Axis, settings: Any, out: AxisOut) -> None:
    two_wires = settings.feedback == _TWO_WIRES
    fault = guard_pot_band(axis.guard, settings, axis.raw, axis.output_permille != 0)
    if fault != 0 and not two_wires:
        _trip(axis, out, fault)
    position = axis.position
    if position.jumped == 2:
        guard_begin(axis.guard)  # where it jumped to is where it rests
        _trip(axis, out, int(Fault.POT_JUMP))
    calibrated_rest = settings.calibrated and axis_at_rest(axis)
    if calibrated_rest and guard_moving_off(axis.guard, position, axis.position_um):
        _trip(axis, out, int(Fault.MOVING_OFF))
    if axis.output_permille == 0:
        axis.guard.over_ticks = 0
        return
    fault = guard_over_current(axis.guard, settings, axis.current_ma)
    if fault != 0:
        _trip(axis, out, fault)
    if axis.command != _SEEK or two_wires:
        _watch_motion(axis, settings, out)


# ---------------------------------------------------------------- rest


def _begin_way(axis: Axis, settings: Any, view: MotionIn) -> None:
    um_s = axis.demand_um_s
    if axis.inches > 0:
        um_s = min(um_s, settings.creep_speed_um_s)
    motion_begin(axis.track, settings, view, axis.demand, um_s)
    axis.from_um = axis.position_um
    axis.resting = 0


def _judge_move(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> None:
    error = abs(axis.demand - axis.rest_position_um)
    tolerance = motion_tolerance(settings)
    held = axis.track.held
    if not held and axis.inches < INCHES and error > tolerance // 3:
        axis.inches += 1
        _begin_way(axis, settings, view)
        return
    reason = Ended.REACHED
    if error > tolerance:
        reason = Ended.UNFINISHED
        if held:
            reason = Ended.SOFT_STOP
            _tell(axis, out, EventKind.SOFT_STOP, 0)
    _end(axis, out, reason)


def _wait_for_rest(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> None:
    if not axis.position.block_ready:
        return
    now = axis.position.block
    moved = abs(now - axis.rest_block)
    axis.rest_block = now
    axis.resting += 1
    if axis.resting <= REST_BLOCKS and (axis.resting <= 2 or moved >= axis.position.threshold):
        return
    axis.rest_raw = axis.raw
    if not settings.calibrated and settings.feedback != _TWO_WIRES:
        axis.rest_raw = (now + POSITION_BLOCK // 2) // POSITION_BLOCK
    axis.rest_position_um = position_block_um(axis.position)
    if axis.state == _MOVE:
        _judge_move(axis, settings, view, out)
    else:
        _end(axis, out, axis.stop_reason)


# ---------------------------------------------------------------- output


def _slew(output: int, wanted: int, up: int, down: int) -> int:
    """Towards `wanted` by at most `up` or `down` permille, through 0 if the sign changes."""
    if output < 0 or (output == 0 and wanted < 0):
        return -between(max(-wanted, 0), -output - down, -output + up)
    return between(max(wanted, 0), output - down, output + up)


def _open_seek(axis: Axis, settings: Any, out: AxisOut) -> int:
    seek = axis.seek
    if axis.changed:
        axis.changed = 0
        seek_begin(seek, settings, axis.position)
    said = seek_tick(seek, settings, axis.position, axis.current_ma)
    output: int = settings.creep_output_permille
    axis.state = _SEEK
    if said != SEEK_GOING:
        axis.state = _PROBE
        output = min(output + output // 5, settings.output_max_permille)
    axis.current_before_ma = seek.current_before
    axis.current_stop_ma = seek.current_stop
    axis.current_probe_ma = seek.current_probe
    if said == SEEK_FOUND:
        event = _tell(axis, out, EventKind.END_FOUND, 0)
        event.value_a = seek.current_before
        event.value_b = seek.current_probe
        if settings.feedback == _TWO_WIRES and seek.runs > 0:
            _know(axis, _end_towards(axis.demand))
        axis_stop(axis, settings, 0, Ended.END_FOUND)
    return -output if axis.demand < 0 else output


def _drive_open(axis: Axis, settings: Any, out: AxisOut) -> int:
    wanted = axis.demand
    if axis.state == _STOPPING:
        wanted = 0
    elif axis.command == _SEEK:
        wanted = _open_seek(axis, settings, out)
    return _slew(axis.output_permille, wanted, RAMP_OPEN, RAMP_OPEN)


def _drive_run(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    if axis.output_permille == 0 and axis.changed:
        motion_begin_run(axis.track, settings, -1 if axis.demand < 0 else 1)
        axis.changed = 0
        axis.from_um = axis.position_um
    if motion_forbids(axis.track, view):
        axis.flags |= _HELD_BACK
        _tell(axis, out, EventKind.SOFT_STOP, 0)
        axis_stop(axis, settings, 0, Ended.SOFT_STOP)
        return 0
    most = settings.creep_output_permille if view.creep else settings.output_max_permille
    wanted = between(axis.demand, -most, most)
    if axis.state == _STOPPING:
        if abs(axis.output_permille) <= motion_dead(settings, axis.track.direction):
            return 0  # below the dead zone the ramp has ended
        wanted = 0
    down = _run_down(settings, motion_full_speed(settings, axis.track.direction))
    return _slew(axis.output_permille, wanted, RUN_UP, down)


def _take_change(axis: Axis, settings: Any, view: MotionIn) -> None:
    axis.changed = 0
    if axis.output_permille == 0:
        _begin_way(axis, settings, view)
    elif not motion_change(axis.track, view, axis.demand, axis.demand_um_s):
        _ramp_down(axis)


def _ramp_or_rest(axis: Axis, settings: Any, view: MotionIn, out: AxisOut, said: int) -> None:
    if said == MOTION_ARRIVED:
        axis.track.held = 0
    if said == MOTION_RAMPED_DOWN and axis.state != _STOPPING:
        _begin_way(axis, settings, view)
    elif said == MOTION_RAMPED_DOWN:
        _rest_now(axis)
    else:
        _arrive(axis, settings, out)


def _drive_way(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    if axis.changed and axis.state != _STOPPING:
        _take_change(axis, settings, view)
    track = axis.track
    output, said = motion_tick(track, settings, view)
    axis.flags = axis.flags | _HELD_BACK if track.held else axis.flags & ~_HELD_BACK
    if track.behind >= MOTION_BEHIND and settings.following_um and axis_is_moving(axis):
        _latch(axis, out, int(Fault.FOLLOWING))
        axis_stop(axis, settings, 1, Ended.FAULT)
    if track.ramp_down:
        output = min(output, track.ramp_down)
    if said != MOTION_GOING:
        _ramp_or_rest(axis, settings, view, out, said)
    axis.reference_um = (track.reference >> 8) * track.direction
    return output * track.direction


def _drive(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    if settings.calibrated and axis.command != _RUN:
        return _drive_way(axis, settings, view, out)
    if settings.calibrated:
        output = _drive_run(axis, settings, view, out)
    else:
        output = _drive_open(axis, settings, out)
    if axis.state == _STOPPING and output == 0 and not axis.resting:
        _rest_now(axis)
    return output


def _act(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> int:
    axis.reference_um = axis.position_um
    if not _is_under_way(axis):
        return 0
    view = _look(axis, axis_in)
    if axis.resting and axis.changed and axis_is_moving(axis):
        axis.resting = 0
    elif axis.resting:
        _wait_for_rest(axis, settings, view, out)
    if not _is_under_way(axis) or axis.resting or axis_in.waits:
        return 0
    output = _drive(axis, settings, view, out)
    return 0 if axis.resting else output


def _fold_back(axis: Axis, settings: Any, output: int, out: AxisOut) -> int:
    """Holds the current of a rod with a pot below fold_back_ma; not that of a seek."""
    most, ceiling = settings.fold_back_ma, axis.ceiling
    if (
        most
        and axis.current_ma > most
        and axis.last_sign != 0
        and settings.feedback != _TWO_WIRES
        and axis.command != _SEEK
    ):
        if ceiling == UNFOLDED:
            _tell(axis, out, EventKind.FOLD_BACK, 0)
        ceiling = ceiling - (ceiling >> 3) if ceiling > FOLD_LEAST else FOLD_LEAST
    elif ceiling < FOLD_MOST:
        ceiling += 1
    axis.ceiling = ceiling
    folded = between(output, -ceiling * 4, ceiling * 4)
    axis.also = axis.also & ~_FOLDED_BACK | (_FOLDED_BACK if folded != output else 0)
    return folded


def _put_out(axis: Axis, settings: Any, output: int, out: AxisOut) -> None:
    sign = 1 if output > 0 else -1 if output < 0 else 0
    if sign + axis.last_sign == 0:
        sign = output = 0
    axis.last_sign = sign
    axis.output_permille = output
    if sign != 0:
        if axis.flags & _end_towards(-sign):
            _know(axis, _BETWEEN)
        axis.on_ticks += 1
        axis.used = AXIS_RESTS_BY_SETTING
        out.bridge = _BRIDGE_DRIVE
        out.drive = -output if settings.motor_reversed else output
    elif axis.used > AXIS_RESTS_BY_SETTING or (axis.used and settings.stop_by == _BY_BRAKE):
        out.bridge = _BRIDGE_BRAKE
        axis.flags |= _BRAKING


def axis_tick(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    """Everything of one tick."""
    out.drive = 0
    out.bridge = _BRIDGE_OFF
    if out.event:
        out.event = []
    out.output_before = axis.output_permille
    axis.raw = axis_in.raw
    if settings.feedback == _NOTHING_FITTED:
        axis.state = _NOT_FITTED
        return
    if axis.state == _NOT_FITTED:
        axis.state = _FAULT if axis.faults != 0 else _IDLE
    _take_readings(axis, settings, axis_in)
    _see_proof(axis, settings)
    _tell_left(axis, out)
    _watch(axis, settings, out)
    _end_silent_hold(axis, settings, axis_in, out)
    _watch_heat(axis, settings, axis_in, out)
    _spend_duty(axis, settings, axis_in, out)
    output = _act(axis, settings, axis_in, out)
    _put_out(axis, settings, _fold_back(axis, settings, output, out), out)
