"""Standing alone: an axis commanded by buttons, a stick or a servo pulse. Sibling of local.c."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rodbench_protocol.names import (
    AxisAlso,
    Commander,
    Ended,
    EventKind,
    LocalSource,
    MessageId,
    Status,
)

from rodbench.emulator.twin.axis import (
    Axis,
    AxisEvent,
    axis_disarm,
    axis_is_moving,
    axis_renew,
)
from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.event import event_send
from rodbench.emulator.twin.gang import Order, gang_is_on, gang_start
from rodbench.emulator.twin.number import between

if TYPE_CHECKING:
    from rodbench.emulator.signals import Readings
    from rodbench.emulator.twin.call import Call
    from rodbench.emulator.twin.core import Twin

TICK_MS = 5
REST_TICKS = 20
OPEN_TICKS = 4
SILENT_TICKS = 2000
WHOLE = 1024
STEP = 10
LOST = -0x8000
BOTH = 3
AXES = 2
_LOCAL, _ARMED, _LOST = int(AxisAlso.LOCAL), int(AxisAlso.ARMED), int(AxisAlso.SOURCE_LOST)
_OFF = 0xFF & ~(_LOCAL | _ARMED | _LOST)
_NONE, _BUTTONS, _PULSE = int(LocalSource.NONE), int(LocalSource.BUTTONS), int(LocalSource.PULSE)


def local_commands(core: Twin, index: int) -> bool:
    """The host does not command this axis: its own input does, or that of its gang."""
    return bool(core.axis[0 if gang_is_on(core) else index].also & _LOCAL)


def _stop(core: Twin, index: int) -> None:
    core.stop(index, 1, Ended.STOPPED)


def _drop(core: Twin, index: int) -> None:
    axis_disarm(core.axis[index])
    _stop(core, index)


def _tell(core: Twin, index: int, kind: int, cause: int) -> None:
    output = core.axis[index].output_permille
    event_send(core, index + 1, AxisEvent(kind, cause, 0, 0), output)


def _hand_to(core: Twin, index: int, commander: int) -> None:
    """A motion of the one that commanded before ends."""
    axis, settings = core.axis[index], core.live.scope[index + 1]
    if settings.local_source != _NONE and (axis.also & _LOCAL) != commander:
        axis.also = (axis.also ^ _LOCAL) & ~_LOST
        _drop(core, index)
        if gang_is_on(core):
            _stop(core, index ^ 1)  # it may be levelled, alone
        _tell(core, index, EventKind.HANDED_OVER, commander)


def local_hand_over(core: Twin, call: Call) -> int:
    """Take an axis from its local input, or give it back."""
    asked, commander = call.body[0], call.body[1]
    if asked > AXES:
        return call.bad_value(1)
    if commander > max(Commander):
        return call.bad_value(2)
    for index in range(AXES):
        if asked in (0, index + 1):
            _hand_to(core, index, commander)
    return Status.OK


def _int16(value: int) -> int:
    return ((value + 0x8000) & 0xFFFF) - 0x8000


def _from_low(settings: Any, value: int) -> int:
    """Counted from the low end towards the high end."""
    at = _int16(value - settings.local_low_end)
    return _int16(-at) if settings.local_high_end < settings.local_low_end else at


def _wanted(axis: Axis, settings: Any, buttons: int) -> int:
    """A share of full speed, signed; or of the way, from 1 on; 0 at rest; or LOST."""
    local, source, as_place = axis.local, settings.local_source, settings.local_as
    share = WHOLE
    if source == _BUTTONS:
        if buttons == 0:
            return 0
        if buttons != 1:
            share = 0 if as_place else -WHOLE
    else:
        span = _from_low(settings, settings.local_high_end)
        margin = div_toward_zero(span, 10)
        at = _from_low(settings, local.value)
        beyond = (at + margin) & 0xFFFF > (span + 2 * margin) & 0xFFFF
        if beyond or (local.value == 0 and source == _PULSE):
            return LOST
        at = between(at, 0, span)
        rest = _from_low(settings, settings.local_rest)
        off, band = at - rest, settings.local_rest_band
        if (local.asked == 0 or not as_place) and -band <= off <= band:
            return 0
        if not as_place:
            at, span = off, rest if off < 0 else span - rest
        share = div_toward_zero(at * WHOLE, span)
    return share + as_place  # type: ignore[no-any-return]


def _target_um(settings: Any, share: int) -> int:
    place = settings.local_place_extend * share + settings.local_place_retract * (WHOLE - share)
    um = (settings.stroke_um >> 5) * (place >> 11) >> 10
    return between(um, settings.soft_stop_min_um, settings.soft_stop_max_um)


def _request(core: Twin, index: int, settings: Any, want: int) -> int:
    if settings.local_as:
        order = Order(MessageId.MOVE, 0, _target_um(settings, want - 1), 0)
        return gang_start(core, index, order)
    value = -1000 if want < 0 else 1000  # an output, which the axis holds to creep
    if settings.calibrated:
        value = want * settings.speed_max_um_s >> 10
    return gang_start(core, index, Order(MessageId.JOG, settings.calibrated, 0, value))


def _act(core: Twin, index: int, settings: Any, want: int) -> None:
    axis = core.axis[index]
    local, goes, asked = axis.local, axis_is_moving(axis), axis.local.asked
    as_place = settings.local_as
    if want == 0:
        if not as_place:
            _stop(core, index)
        elif local.quiet < OPEN_TICKS:
            return
        local.asked = 0
        return
    if asked:
        ended = not as_place and not goes and (want ^ asked) >= 0
        if abs(want - asked) <= STEP or ended:
            return
    local.asked = want
    if as_place and goes and settings.local_source == _BUTTONS:
        _stop(core, index)
        return
    status = _request(core, index, settings, want)
    if status == Status.STOP_STANDING:
        local.asked = asked
    elif status != Status.OK:
        _drop(core, index)


def _is_lost(core: Twin, index: int, settings: Any, want: int) -> bool:
    """It cannot be believed. For so long that it is lost: stop, and arm anew."""
    axis, local = core.axis[index], core.axis[index].local
    if want != LOST:
        local.lost = 0
        axis.also &= ~_LOST
        return False
    local.quiet = 0
    if not axis.also & _LOST:
        local.lost += 1
        if local.lost * TICK_MS >= settings.local_loss_ms:
            axis.also |= _LOST
            _drop(core, index)
            _tell(core, index, EventKind.SOURCE_LOST, 0)
    return True


def _is_armed(core: Twin, index: int, want: int) -> bool:
    """Armed, and was so before this tick."""
    axis, local = core.axis[index], core.axis[index].local
    local.quiet = 0 if want else min(local.quiet + 1, REST_TICKS)
    if axis.also & _ARMED:
        return True
    if local.quiet == REST_TICKS:
        axis.also |= _ARMED
        _tell(core, index, EventKind.ARMED, 0)
    return False


def _tick_axis(core: Twin, index: int, buttons: int) -> None:
    axis, settings = core.axis[index], core.live.scope[index + 1]
    if settings.local_source == _NONE or (index and gang_is_on(core)):
        axis.also &= _OFF
        return
    if not axis.also & _LOCAL:
        silent = (core.ticks - core.heard) & 0xFFFF
        if silent > SILENT_TICKS and core.at_rest():
            _hand_to(core, index, Commander.LOCAL)
        return
    axis_renew(axis, core.ticks)
    if gang_is_on(core):
        axis_renew(core.axis[1], core.ticks)
    want = _wanted(axis, settings, buttons)
    if _is_lost(core, index, settings, want):
        return
    if axis.faults or core.faults or buttons == BOTH:
        _drop(core, index)
    if _is_armed(core, index, want):
        _act(core, index, settings, want)


def local_tick(core: Twin, readings: Readings) -> None:
    """After the host's requests of a tick, before the axes."""
    inputs = readings.inputs >> 1
    for index, axis in enumerate(core.axis):
        axis.local.value = readings.local[index]
        _tick_axis(core, index, inputs & BOTH)
        inputs >>= 2
