"""One axis: what it is asked to do, what it does in each tick. Sibling of axis.c."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import (
    HOLD_MS,
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

from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.guard import (
    Guard,
    GuardIn,
    guard_begin,
    guard_motion,
    guard_over_current,
    guard_pot_band,
)
from rodbench.emulator.twin.motion import (
    MOTION_ARRIVED,
    MOTION_GOING,
    MOTION_RAMPED_DOWN,
    Motion,
    MotionIn,
    motion_begin,
    motion_begin_run,
    motion_change,
    motion_forbids,
    motion_full_speed,
    motion_ramp_ticks,
    motion_tick,
    motion_tolerance,
)
from rodbench.emulator.twin.position import (
    POSITION_BLOCK,
    Position,
    position_begin,
    position_block_threshold,
    position_block_um,
    position_count_um,
    position_new_block,
    position_speed,
    position_um,
    position_update,
)
from rodbench.emulator.twin.seek import SEEK_FOUND, SEEK_PROBING, Seek, seek_begin, seek_tick

TICK_MS = 5
HOLD_TICKS = HOLD_MS // TICK_MS
RAMP_OPEN = 30
RESERVE_OPEN = 26
RUN_UP = 17
REST_BLOCKS = 12
INCHES = 6
AXIS_EVENTS_MAX = 3

# Plain ints: an enumeration's members cost several times as much to compare.
_NOT_FITTED, _IDLE = int(AxisState.NOT_FITTED), int(AxisState.IDLE)
_JOG, _RUN, _SEEK = int(AxisState.JOG), int(AxisState.RUN), int(AxisState.SEEK)
_PROBE, _MOVE = int(AxisState.PROBE), int(AxisState.MOVE)
_STOPPING, _FAULT = int(AxisState.STOPPING), int(AxisState.FAULT)
_CALIBRATED, _PROVEN = int(AxisFlags.CALIBRATED), int(AxisFlags.PROVEN)
_OUTSIDE, _HELD_BACK = int(AxisFlags.OUTSIDE), int(AxisFlags.HELD_BACK)
_BRAKING = int(AxisFlags.BRAKING)
_NO_SENSOR, _NO_FEEDBACK = int(CurrentSensor.NONE), int(Feedback.NOT_FITTED)
_BRIDGE_OFF, _BRIDGE_BRAKE = int(Bridge.OFF), int(Bridge.BRAKE)
_BRIDGE_DRIVE, _BY_BRAKE = int(Bridge.DRIVE), int(StopBy.BRAKE)
_RUNNING, _REPLACED = int(Ended.RUNNING), int(Ended.REPLACED)


class AxisIn:
    """axis_in_t."""

    __slots__ = (
        "board_mv",
        "current4",
        "duty_room",
        "raw",
        "supply_mv",
        "supply_nominal_mv",
        "tick",
    )

    def __init__(self) -> None:
        self.tick = self.duty_room = self.raw = self.current4 = 0
        self.supply_mv = self.supply_nominal_mv = self.board_mv = 0


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
        self.command = self.stop_reason = self.resting = self.inches = self.changed = 0
        self.used = self.off = self.last_sign = 0
        self.left_reason = self.left_motion = self.left_on_ticks = 0
        self.reserve = self.hold_ticks = self.hold_until = 0
        self.rest_block = self.current_scale = self.board_mv = 0
        self.demand = self.demand_speed = self.from_um = 0
        self.position = Position()
        self.track = Motion()
        self.seek = Seek()
        self.guard = Guard()
        self._motion_view = MotionIn()  # no state: they live on the stack in C
        self._guard_view = GuardIn()


def _int32(value: int) -> int:
    return ((value + 0x80000000) & 0xFFFFFFFF) - 0x80000000


def _is_moving(axis: Axis) -> bool:
    return _JOG <= axis.state <= _MOVE


def _is_open_loop(axis: Axis, settings: Any) -> bool:
    return not settings.calibrated or axis.command == _RUN


def axis_init(axis: Axis) -> None:
    """At start."""
    axis.__init__()  # type: ignore[misc]


def axis_settings_changed(axis: Axis) -> None:
    """Settings of this axis were replaced."""
    axis.position.__init__()  # type: ignore[misc]
    axis.current_scale = 0
    axis.flags = 0


def axis_at_rest(axis: Axis) -> bool:
    """No motion under way and output 0."""
    return not _JOG <= axis.state <= _STOPPING and axis.output_permille == 0


# ---------------------------------------------------------------- readings


def _take_current(axis: Axis, settings: Any, axis_in: AxisIn) -> None:
    if axis.current_scale == 0 or axis.board_mv != axis_in.board_mv:
        axis.board_mv = axis_in.board_mv
        axis.current_scale = max(axis_in.board_mv * 512000 // 1023 // settings.current_uv_per_ma, 1)
    if settings.current_sensor == _NO_SENSOR:
        axis.current_ma = 0
        return
    current = ((axis_in.current4 - settings.current_zero) * axis.current_scale) >> 11
    axis.current_ma = 32767 if current > 32767 else -32767 if current < -32767 else current


def _is_outside(axis: Axis, settings: Any) -> bool:
    count = position_count_um(axis.position)
    zone = count + count * settings.noise_x16 // 8
    um = axis.position_um
    return um > settings.soft_stop_max_um + zone or um < settings.soft_stop_min_um - zone  # type: ignore[no-any-return]


def _set_flag(axis: Axis, flag: int, on: object) -> None:
    axis.flags = axis.flags | flag if on else axis.flags & ~flag


def _take_readings(axis: Axis, settings: Any, axis_in: AxisIn) -> None:
    axis.raw = axis_in.raw
    _take_current(axis, settings, axis_in)
    position = axis.position
    if not position.started:
        position_begin(position, settings)
    position_update(position, axis_in.raw)
    axis.position_um = position_um(position, settings)
    axis.speed_um_s = position_speed(position)
    flags = axis.flags & ~(_CALIBRATED | _OUTSIDE | _HELD_BACK)
    if settings.calibrated:
        flags |= _CALIBRATED
        if _is_outside(axis, settings):
            flags |= _OUTSIDE
    axis.flags = flags


def _see_proof(axis: Axis, settings: Any) -> None:
    if not settings.calibrated or axis.output_permille == 0 or axis.flags & _PROVEN:
        return
    went = axis.position_um - axis.from_um
    enough = max(position_count_um(axis.position) * settings.noise_x16 // 4, 1000)
    if (-went if axis.output_permille < 0 else went) >= enough:
        axis.flags |= _PROVEN


def _motion_view(axis: Axis, axis_in: AxisIn) -> MotionIn:
    view = axis._motion_view
    view.um = axis.position_um
    view.um_s = axis.speed_um_s
    view.count_um = position_count_um(axis.position)
    view.supply_mv = axis_in.supply_mv
    view.supply_nominal_mv = axis_in.supply_nominal_mv
    view.creep = int(not axis.flags & _PROVEN or bool(axis.flags & _OUTSIDE))
    return view


# ---------------------------------------------------------------- commands


def _refuse(axis: Axis, settings: Any, needs_calibrated: int) -> int:
    if settings.feedback == _NO_FEEDBACK:
        return Status.NOT_FITTED
    if axis.faults != 0:
        return Status.FAULTED
    if needs_calibrated != settings.calibrated:
        return Status.UNCALIBRATED if needs_calibrated else Status.CALIBRATED
    return Status.OK


def _refuse_start(axis: Axis, command: int) -> int:
    if axis.state == _STOPPING and not axis.resting:
        return Status.STOP_STANDING
    if _is_moving(axis) and axis.command != command:
        return Status.IN_MOTION
    return Status.OK


def _begin(axis: Axis, tick: int, command: int, hold_ticks: int) -> None:
    if axis.ended == _RUNNING:
        axis.left_reason = _REPLACED if _is_moving(axis) else axis.stop_reason
        axis.left_motion = axis.motion
        axis.left_on_ticks = axis.on_ticks
    axis.motion = 1 if axis.motion == 65535 else axis.motion + 1
    axis.state = command
    axis.command = command
    axis.ended = _RUNNING
    axis.cause = 0
    axis.on_ticks = 0
    axis.rest_raw = 0
    axis.rest_position_um = 0
    axis.current_before_ma = axis.current_stop_ma = axis.current_probe_ma = 0
    axis.inches = 0
    axis.changed = 1
    axis.off = 0
    if axis.output_permille == 0:
        guard_begin(axis.guard)
    axis.hold_ticks = hold_ticks
    axis.hold_until = (tick + hold_ticks) & 0xFFFFFFFF


def _goes_further_out(axis: Axis, settings: Any, value: int) -> bool:
    if not axis.flags & _OUTSIDE:
        return False
    return value > 0 if axis.position_um > settings.soft_stop_max_um else value < 0


def _reserve_for(settings: Any, command: int, speed_um_s: int) -> int:
    if not settings.calibrated:
        return RESERVE_OPEN
    if command == _RUN:
        speed_um_s = max(motion_full_speed(settings, 1), motion_full_speed(settings, -1))
    return min(motion_ramp_ticks(settings, speed_um_s) + 2, 65535)


def _take_reserve(axis: Axis, reserve: int) -> None:
    if not (axis.reserve > reserve and axis.output_permille != 0):
        axis.reserve = reserve


def _hold_to_run(
    axis: Axis, settings: Any, tick: int, command: int, value: int, reserve: int
) -> int:
    status = _refuse_start(axis, command)
    if status != Status.OK:
        return Status.OK if value == 0 and status == Status.STOP_STANDING else status
    if value == 0:
        axis_stop(axis, settings, 1, Ended.STOPPED)
        return Status.OK
    if settings.calibrated and _goes_further_out(axis, settings, value):
        return Status.OUTSIDE
    if not _is_moving(axis):
        _begin(axis, tick, command, HOLD_TICKS)
    _take_reserve(axis, reserve)
    axis.demand = value
    axis.changed = 1
    return Status.OK


def axis_jog(axis: Axis, settings: Any, tick: int, unit: int, value: int) -> int:
    """Status.OK, or why not."""
    if unit > JogUnit.SPEED:
        return Status.BAD_VALUE
    status = _refuse(axis, settings, int(unit == JogUnit.SPEED))
    if status != Status.OK:
        return status
    most = settings.speed_max_um_s if unit == JogUnit.SPEED else 1000
    if value > most or value < -most:
        return Status.BAD_VALUE
    reserve = _reserve_for(settings, _JOG, abs(value))
    return _hold_to_run(axis, settings, tick, _JOG, value, reserve)


def axis_run(axis: Axis, settings: Any, tick: int, output_permille: int) -> int:
    """Status.OK, or why not."""
    status = _refuse(axis, settings, 1)
    if status != Status.OK:
        return status
    if output_permille > 1000 or output_permille < -1000:
        return Status.BAD_VALUE
    reserve = _reserve_for(settings, _RUN, 0)
    return _hold_to_run(axis, settings, tick, _RUN, output_permille, reserve)


def axis_seek(axis: Axis, settings: Any, tick: int, direction: int) -> int:
    """Status.OK, or why not."""
    status = _refuse(axis, settings, 0)
    if status != Status.OK:
        return status
    if direction not in (1, -1):
        return Status.BAD_VALUE
    if _is_moving(axis):
        return Status.IN_MOTION
    return _hold_to_run(axis, settings, tick, _SEEK, direction, RESERVE_OPEN)


def axis_move(axis: Axis, settings: Any, tick: int, target_um: int, speed_um_s: int) -> int:
    """Status.OK, or why not."""
    status = _refuse(axis, settings, 1)
    if status != Status.OK:
        return status
    if speed_um_s < 0 or speed_um_s > settings.speed_max_um_s:
        return Status.BAD_VALUE
    speed = settings.speed_max_um_s if speed_um_s == 0 else speed_um_s
    if target_um < settings.soft_stop_min_um or target_um > settings.soft_stop_max_um:
        return Status.OUTSIDE
    status = _refuse_start(axis, _MOVE)
    if status != Status.OK:
        return status
    reserve = _reserve_for(settings, _MOVE, speed)
    _begin(axis, tick, _MOVE, settings.move_hold_ms // TICK_MS)
    _take_reserve(axis, reserve)
    axis.demand = target_um
    axis.demand_speed = speed
    return Status.OK


def _rest_now(axis: Axis) -> None:
    axis.resting = 1
    axis.rest_block = axis.position.block
    position_new_block(axis.position)


def axis_stop(axis: Axis, settings: Any, category: int, reason: int) -> None:
    """Category 0: output off in this very tick; anything else: a ramp. At rest: nothing."""
    if axis.state != _STOPPING:
        if not _is_moving(axis):
            return
        axis.state = _STOPPING
        axis.stop_reason = int(reason)
        axis.track.ramp_down = 1
    ramps = category == 1 and axis.output_permille != 0 and settings.feedback != _NO_FEEDBACK
    if not ramps and not axis.resting:
        _rest_now(axis)


def axis_renew(axis: Axis, echoed_tick: int) -> None:
    """The host's echo of a tick. Never revives an ended motion."""
    until = (echoed_tick + axis.hold_ticks) & 0xFFFFFFFF
    if _is_moving(axis) and _int32(until - axis.hold_until) > 0:
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


def _tell(out: AxisOut, kind: int, cause: int, value_a: int, value_b: int) -> None:
    if len(out.event) < AXIS_EVENTS_MAX:
        out.event.append(AxisEvent(int(kind), int(cause), value_a, value_b))


def _end(axis: Axis, out: AxisOut, reason: int) -> None:
    axis.ended = int(reason)
    axis.resting = 0
    axis.state = _FAULT if axis.faults != 0 else _IDLE
    _tell(out, EventKind.MOTION_ENDED, reason, axis.motion, axis.on_ticks)


def _latch(axis: Axis, out: AxisOut, fault: int) -> None:
    bit = 1 << (fault - 1)
    if axis.faults & bit:
        return
    axis.faults |= bit
    _tell(out, EventKind.TRIP, fault, axis.motion, axis.on_ticks)


def _trip(axis: Axis, out: AxisOut, fault: int) -> None:
    _latch(axis, out, fault)
    axis.off = int(axis.off or fault == Fault.OVER_CURRENT)
    if axis.ended == _RUNNING:
        axis.cause = fault
        axis.rest_raw = axis.raw
        axis.rest_position_um = axis.position_um
        _end(axis, out, Ended.FAULT)
    axis.state = _FAULT
    axis.resting = 0


def _stop_with(
    axis: Axis, settings: Any, out: AxisOut, category: int, event: int, reason: int
) -> None:
    if event != 0:
        _tell(out, event, 0, axis.motion, axis.on_ticks)
    axis_stop(axis, settings, category, reason)


def _end_silent_hold(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    if not _is_moving(axis) or _int32(axis_in.tick - axis.hold_until) <= 0:
        return
    if axis.command == _MOVE:
        _latch(axis, out, int(Fault.MOVE_SILENCE))
        axis.cause = int(Fault.MOVE_SILENCE)
    _stop_with(axis, settings, out, 1, 0, Ended.SILENCE)


def _spend_duty(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    if _is_moving(axis) and axis_in.duty_room <= axis.reserve:
        _stop_with(axis, settings, out, 1, EventKind.DUTY_SPENT, Ended.DUTY)


# ---------------------------------------------------------------- guards


def _no_motion(axis: Axis, settings: Any, out: AxisOut, fault: int) -> None:
    if not settings.calibrated and fault == Fault.NO_CURRENT:
        reason = Ended.END_FOUND if axis.guard.moved else Ended.UNFINISHED
        _stop_with(axis, settings, out, 0, 0, reason)
        return
    _trip(axis, out, fault)


def _slow_speed(axis: Axis, settings: Any) -> int:
    slow: int = settings.creep_speed_um_s
    if axis.command == _JOG:
        return min(slow, abs(axis.demand))
    return min(slow, axis.demand_speed) if axis.command == _MOVE else slow


def _watch(axis: Axis, settings: Any, out: AxisOut) -> None:
    fault = guard_pot_band(axis.guard, settings, axis.raw)
    if fault != 0:
        _trip(axis, out, fault)
    view = axis._guard_view
    view.output_permille = axis.output_permille
    if view.output_permille == 0:
        axis.guard.over_ticks = 0  # all that the guards below do without output
        return
    view.raw = axis.raw
    view.current_ma = axis.current_ma
    view.current_lsb_ma = min(axis.current_scale >> 9, 32767)
    view.um = axis.position_um
    view.slow_um_s = _slow_speed(axis, settings)
    fault = guard_over_current(axis.guard, settings, view)
    if fault != 0:
        _trip(axis, out, fault)
    if axis.command == _SEEK:
        return
    fault = guard_motion(axis.guard, settings, axis.position, view)
    if fault == Fault.WRONG_WAY:
        _trip(axis, out, fault)
    elif fault != 0:
        _no_motion(axis, settings, out, fault)


# ---------------------------------------------------------------- rest


def _begin_way(axis: Axis, settings: Any, view: MotionIn) -> None:
    target = axis.demand
    speed = axis.demand_speed
    if axis.command == _JOG:
        target = settings.soft_stop_min_um if axis.demand < 0 else settings.soft_stop_max_um
        speed = abs(axis.demand)
    elif axis.inches > 0:
        speed = min(speed, settings.creep_speed_um_s)
    motion_begin(axis.track, settings, view, target, speed)
    axis.from_um = axis.position_um
    axis.resting = 0


def _judge_move(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> None:
    error = abs(axis.demand - axis.rest_position_um)
    tolerance = motion_tolerance(settings)
    held = axis.track.held > 0
    last = held or axis.inches >= INCHES
    if error <= (tolerance if last else tolerance // 3):
        _end(axis, out, Ended.REACHED)
    elif not last:
        axis.inches += 1
        _begin_way(axis, settings, view)
    else:
        if held:
            _tell(out, EventKind.SOFT_STOP, 0, axis.motion, axis.on_ticks)
        _end(axis, out, Ended.SOFT_STOP if held else Ended.UNFINISHED)


def _wait_for_rest(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> None:
    if not axis.position.block_ready:
        return
    before = axis.rest_block
    now = axis.position.block
    axis.rest_block = now
    axis.resting += 1
    still = axis.resting > 2 and abs(now - before) < position_block_threshold(settings)
    if not still and axis.resting <= REST_BLOCKS:
        return
    axis.rest_raw = (now + POSITION_BLOCK // 2) // POSITION_BLOCK
    axis.rest_position_um = position_block_um(axis.position, settings)
    if axis.state == _MOVE:
        _judge_move(axis, settings, view, out)
    else:
        _end(axis, out, axis.stop_reason)


# ---------------------------------------------------------------- output


def _slew(output: int, wanted: int, up: int, down: int) -> int:
    """Towards `wanted` by at most `up` or `down` permille, through 0 if the sign changes."""
    size = abs(output)
    if (output > 0 and wanted < 0) or (output < 0 and wanted > 0):
        wanted = 0
    goal = abs(wanted)
    step = min(goal, size + up) if goal > size else size - min(size - goal, down)
    return -step if output < 0 or (output == 0 and wanted < 0) else step


def _open_jog(axis: Axis, settings: Any) -> int:
    most = settings.creep_output_permille
    wanted = 0 if axis.state == _STOPPING else max(-most, min(axis.demand, most))
    return _slew(axis.output_permille, wanted, RAMP_OPEN, RAMP_OPEN)


def _open_seek(axis: Axis, settings: Any, out: AxisOut) -> int:
    if axis.changed:
        axis.changed = 0
        position_new_block(axis.position)
        seek_begin(axis.seek, settings, axis.position)
    if axis.state == _STOPPING:
        return _slew(axis.output_permille, 0, RAMP_OPEN, RAMP_OPEN)
    wanted, said = seek_tick(axis.seek, settings, axis.position, axis.current_ma)
    axis.state = _PROBE if said == SEEK_PROBING else _SEEK
    axis.current_before_ma = axis.seek.current_before
    axis.current_stop_ma = axis.seek.current_stop
    axis.current_probe_ma = axis.seek.current_probe
    if said == SEEK_FOUND:
        _tell(out, EventKind.END_FOUND, 0, axis.current_before_ma, axis.current_probe_ma)
        axis_stop(axis, settings, 0, Ended.END_FOUND)
        return 0
    return _slew(axis.output_permille, -wanted if axis.demand < 0 else wanted, RAMP_OPEN, RAMP_OPEN)


def _run_down_step(track: Motion, settings: Any) -> int:
    return min(settings.deceleration_um_s2, 400000) * 5 // track.full + 1  # type: ignore[no-any-return]


def _run(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    direction = -1 if axis.demand < 0 else 1
    if axis.output_permille == 0 and axis.changed:
        motion_begin_run(axis.track, settings, view, direction)
        axis.changed = 0
        axis.from_um = axis.position_um
    if motion_forbids(axis.track, view):
        _set_flag(axis, _HELD_BACK, 1)
        event = EventKind.SOFT_STOP if axis.state == _RUN else 0
        _stop_with(axis, settings, out, 0, event, Ended.SOFT_STOP)
        return 0
    most = settings.creep_output_permille if view.creep else settings.output_max_permille
    wanted = 0 if axis.state == _STOPPING else min(abs(axis.demand), most) * direction
    return _slew(axis.output_permille, wanted, RUN_UP, _run_down_step(axis.track, settings))


def _take_change(axis: Axis, settings: Any, view: MotionIn) -> None:
    axis.changed = 0
    if axis.output_permille == 0 or axis.resting:
        _begin_way(axis, settings, view)
        return
    if axis.command == _MOVE:
        motion_change(axis.track, view, axis.demand, axis.demand_speed)
        return
    target = settings.soft_stop_min_um if axis.demand < 0 else settings.soft_stop_max_um
    motion_change(axis.track, view, target, abs(axis.demand))


def _arrive(axis: Axis, settings: Any, out: AxisOut, said: int) -> None:
    if said == MOTION_ARRIVED:
        axis.track.held = 0
    if axis.state == _MOVE:
        _rest_now(axis)
    else:
        _stop_with(axis, settings, out, 0, EventKind.SOFT_STOP, Ended.SOFT_STOP)


def _follow(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    if axis.changed and axis.state != _STOPPING:
        _take_change(axis, settings, view)
    output, said = motion_tick(axis.track, settings, view)
    _set_flag(axis, _HELD_BACK, axis.track.held > 0)
    if said == MOTION_RAMPED_DOWN:
        if axis.state == _STOPPING:
            _rest_now(axis)
        else:
            _begin_way(axis, settings, view)
    elif said != MOTION_GOING:
        _arrive(axis, settings, out, said)
    axis.reference_um = div_toward_zero(axis.track.reference, 200)
    return -output if axis.track.direction < 0 else output


def _drive(axis: Axis, settings: Any, view: MotionIn, out: AxisOut) -> int:
    if axis.command == _SEEK:
        return _open_seek(axis, settings, out)
    if not settings.calibrated:
        return _open_jog(axis, settings)
    if axis.command == _RUN:
        return _run(axis, settings, view, out)
    return _follow(axis, settings, view, out)


def _put_out(axis: Axis, settings: Any, output: int, out: AxisOut) -> None:
    sign = 1 if output > 0 else -1 if output < 0 else 0
    if sign != 0 and sign == -axis.last_sign:
        sign = output = 0
    axis.last_sign = sign
    axis.output_permille = output
    if sign != 0:
        axis.on_ticks += 1
        axis.used = 1
        out.bridge = _BRIDGE_DRIVE
        out.drive = -output if settings.motor_reversed else output
    elif axis.used and not axis.off and settings.stop_by == _BY_BRAKE:
        out.bridge = _BRIDGE_BRAKE
    _set_flag(axis, _BRAKING, out.bridge == _BRIDGE_BRAKE)


def _act(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> int:
    axis.reference_um = axis.position_um
    if not _JOG <= axis.state <= _STOPPING:
        return 0
    view = _motion_view(axis, axis_in)
    if axis.resting and axis.changed and _is_moving(axis):
        axis.resting = 0
    elif axis.resting:
        _wait_for_rest(axis, settings, view, out)
    if not _JOG <= axis.state <= _STOPPING or axis.resting:
        return 0
    output = _drive(axis, settings, view, out)
    stopped = axis.state == _STOPPING and output == 0 and not axis.resting
    if stopped and _is_open_loop(axis, settings):
        _rest_now(axis)
    return 0 if axis.resting else output


def axis_tick(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    """Everything of one tick."""
    out.drive = 0
    out.bridge = _BRIDGE_OFF
    if out.event:
        out.event = []
    out.output_before = axis.output_permille
    if settings.feedback == _NO_FEEDBACK:
        axis.raw = axis_in.raw
        axis.state = _NOT_FITTED
        axis.output_permille = 0
        axis.last_sign = 0
        return
    if axis.state == _NOT_FITTED:
        axis.state = _FAULT if axis.faults != 0 else _IDLE
    _take_readings(axis, settings, axis_in)
    _see_proof(axis, settings)
    if axis.left_reason != 0:
        _tell(out, EventKind.MOTION_ENDED, axis.left_reason, axis.left_motion, axis.left_on_ticks)
        axis.left_reason = 0
    _watch(axis, settings, out)
    _end_silent_hold(axis, settings, axis_in, out)
    _spend_duty(axis, settings, axis_in, out)
    _put_out(axis, settings, _act(axis, settings, axis_in, out), out)
