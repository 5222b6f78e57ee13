"""Requests that start, stop and judge motions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rodbench_protocol.names import Ended, EventKind, JogUnit, MessageId, Status

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.axis import (
    Axis,
    AxisEvent,
    axis_at_rest,
    axis_clear,
    axis_disarm,
    axis_jog,
    axis_move,
    axis_run,
    axis_seek,
)
from rodbench.emulator.twin.div import div_toward_zero, div_up
from rodbench.emulator.twin.duty import duty_budget, duty_wait
from rodbench.emulator.twin.event import event_send
from rodbench.emulator.twin.gang import Order, gang_is_on, gang_start
from rodbench.emulator.twin.local import local_commands

if TYPE_CHECKING:
    from rodbench.emulator.twin.call import Call
    from rodbench.emulator.twin.core import Twin

TICKS_PER_S = 200
START_RESERVE = 20
ALL_AXES = 0
NEVER = 0xFFFF
AXES = 2
_JOG, _RUN = wire.request("jog"), wire.request("run")
_SEEK, _MOVE = wire.request("seek"), wire.request("move")
_LEVEL = wire.request("level")
_OUTCOME, _CLEAR, _STARTED = wire.reply("outcome"), wire.reply("clear"), wire.reply("move")


def _index_of(axis: int) -> int:
    """Place of the axis that a field names; AXES or more: there is none."""
    return (axis - 1) & 0xFF


def _is_asked(axis: int, index: int) -> bool:
    return axis == ALL_AXES or _index_of(axis) == index


def _lowest_fault(faults: int) -> int:
    return (faults & -faults).bit_length()


def handle_stop(core: Twin, call: Call) -> int:
    """Never refused: a missing field counts as 0, an axis that there is not means all.

    A gang stops as one.
    """
    body = call.body
    asked = body[0] if body else ALL_AXES
    category = int(len(body) > 1 and body[1] == 1)
    for index in range(AXES):
        if asked > AXES or _is_asked(asked, index) or gang_is_on(core):
            core.stop(index, category, Ended.STOPPED)
            axis_disarm(core.axis[index])
    return Status.OK


def _tell_cleared(core: Twin, axis: int, stood: int) -> int:
    if stood:
        bits = stood - (1 << 32) if stood >= 1 << 31 else stood
        event_send(core, axis, AxisEvent(EventKind.CLEARED, 0, bits, 0), 0)
    return stood


def _clear(core: Twin, call: Call) -> int:
    asked = call.body[0]
    if asked > AXES:
        return call.bad_value(1)
    chosen = [index for index in range(AXES) if _is_asked(asked, index)]
    if not all(axis_at_rest(core.axis[index]) for index in chosen):
        return Status.IN_MOTION
    stood = 0
    if asked == ALL_AXES:
        stood = _tell_cleared(core, ALL_AXES, core.faults)
        core.faults = 0
    for index in chosen:
        stood |= _tell_cleared(core, index + 1, axis_clear(core.axis[index]))
    call.reply = _CLEAR.pack(stood)
    return Status.OK


def _outcome(core: Twin, call: Call) -> int:
    index = _index_of(call.body[0])
    if index >= AXES:
        return call.bad_value(1)
    axis = core.axis[index]
    call.reply = _OUTCOME.pack(
        index + 1,
        axis.motion,
        axis.ended,
        axis.cause,
        axis.rest_raw,
        axis.rest_position_um,
        axis.current_before_ma,
        axis.current_stop_ma,
        axis.current_probe_ma,
        axis.on_ticks,
    )
    return Status.OK


def _ramp_ticks(settings: Any, um_s2: int) -> int:
    return div_toward_zero(settings.speed_max_um_s * TICKS_PER_S, um_s2)


def _way_ticks(axis: Axis, settings: Any, order: Order) -> int:
    """A fifth above the on-time of the way to a target within the stroke, its ramps aside."""
    speed = order.speed_um_s
    if not 0 <= order.value <= settings.stroke_um:
        return 0  # refused for that, elsewhere
    way = abs(order.value - axis.position_um)
    if not 0 < speed <= settings.speed_max_um_s:
        speed = settings.speed_max_um_s
    return div_toward_zero(way * (TICKS_PER_S * 6 // 5), speed)


def _duty_allows(core: Twin, index: int, order: Order) -> bool:
    """Nothing starts without the reserve for its end; a move not without its ramps and its way.

    Else core.duty_wait_s tells in how many seconds.
    """
    settings: Any = core.live.scope[index + 1]
    need = START_RESERVE + _ramp_ticks(settings, settings.deceleration_um_s2)
    if order.id == MessageId.MOVE:
        need += _ramp_ticks(settings, settings.acceleration_um_s2)
        need += _way_ticks(core.axis[index], settings, order)
    budget = duty_budget(settings)
    if need > budget:
        core.duty_wait_s = NEVER
    else:
        wait = duty_wait(core.noinit.duty[index], budget - need)
        core.duty_wait_s = div_up(wait, TICKS_PER_S)
    return core.duty_wait_s == 0


def _starts_motion(axis: Axis, number: int) -> bool:
    return number == MessageId.MOVE or axis_at_rest(axis)


def _command(core: Twin, index: int, order: Order) -> int:
    axis, settings, tick = core.axis[index], core.live.scope[index + 1], core.ticks
    speed = order.speed_um_s
    if order.id == MessageId.RUN:
        return axis_run(axis, settings, tick, order.value)
    if order.id == MessageId.SEEK:
        return axis_seek(axis, settings, tick, order.value)
    if order.id == MessageId.MOVE:
        return axis_move(axis, settings, tick, order.value, speed)
    if order.id == MessageId.LEVEL:
        if speed > settings.creep_speed_um_s or speed < -settings.creep_speed_um_s:
            return Status.BAD_VALUE
        return axis_jog(axis, settings, tick, JogUnit.SPEED, speed)
    return axis_jog(axis, settings, tick, order.unit, speed)


def start_axis(core: Twin, index: int, order: Order, trial: int) -> int:
    """One axis's own part of gang_start; of a trial the status alone."""
    axis = core.axis[index]
    begins = trial and axis.faults == 0 and _starts_motion(axis, order.id)
    if begins and not _duty_allows(core, index, order):
        return Status.DUTY_SPENT
    axis.trial = trial
    return _command(core, index, order)


def _place_of_value(call: Call, number: int) -> int:
    if number == MessageId.JOG:
        return 2 if call.body[1] > max(JogUnit) else 3
    return 3 if number == MessageId.MOVE else 2


def _take_order(call: Call, number: int) -> Order:
    if number == MessageId.JOG:
        _axis, unit, value = _JOG.unpack_from(call.body)
        return Order(number, unit, 0, value)
    if number == MessageId.MOVE:
        _axis, target, speed = _MOVE.unpack_from(call.body)
        return Order(number, 0, target, speed)
    if number == MessageId.LEVEL:
        return Order(number, 0, 0, _LEVEL.unpack_from(call.body)[1])
    body = _RUN if number == MessageId.RUN else _SEEK
    return Order(number, 0, body.unpack_from(call.body)[1], 0)


def _fault_in_the_way(core: Twin, index: int) -> int:
    """The lowest of the first that has any: the board, the axis, the other axis."""
    return _lowest_fault(core.faults or core.axis[index].faults or core.axis[index ^ 1].faults)


def _start(core: Twin, call: Call, number: int) -> int:
    index = _index_of(call.body[0])
    if index >= AXES:
        return call.bad_value(1)
    if local_commands(core, index):
        return Status.LOCAL_CONTROL
    if call.barred:
        return Status.STOP_STANDING
    order = _take_order(call, number)
    status = Status.FAULTED if core.faults else gang_start(core, index, order)
    if status == Status.BAD_VALUE:
        call.detail = _place_of_value(call, number)
    elif status == Status.DUTY_SPENT:
        call.detail = core.duty_wait_s
    elif status == Status.FAULTED:
        call.detail = _fault_in_the_way(core, index)
    call.reply = _STARTED.pack(core.axis[index].motion)
    return status


def handle_motion(core: Twin, call: Call, number: int) -> int:
    """clear, outcome, and what starts a motion."""
    if number == MessageId.CLEAR:
        return _clear(core, call)
    if number == MessageId.OUTCOME:
        return _outcome(core, call)
    return _start(core, call, number)
