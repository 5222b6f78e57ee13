"""Two rods as one: asked of both, at the same share of each one's stroke. Sibling of gang.c."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rodbench_protocol.names import AxisState, Ended, Fault, Feedback, JogUnit, MessageId, Status

from rodbench.emulator.twin.axis import axis_is_moving
from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.number import between

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

APART_TICKS = 10
WAIT_MOST = 255


class Order:
    """order_t: a motion asked for, by whomever."""

    __slots__ = ("id", "speed_um_s", "unit", "value")

    def __init__(self, number: int, unit: int, value: int, speed_um_s: int) -> None:
        self.id = number
        self.unit = unit
        self.value = value
        self.speed_um_s = speed_um_s


class Gang:
    """gang_t."""

    __slots__ = ("alone", "apart_ticks")

    def __init__(self) -> None:
        self.apart_ticks = 0
        self.alone = 0


def gang_is_on(core: Twin) -> bool:
    """The board ties its two axes together."""
    return bool(core.live.board.apart_trip_um)


def _at_share(um: int, of: Any, to: Any) -> int:
    """What is um of one stroke on another, rounded down, 0 below 0."""
    return int(max(um, 0) * to.stroke_um // of.stroke_um)


def _apart_um(core: Twin) -> int:
    """How far axis 1 is before axis 2, by share of stroke, in um of the longer rod."""
    first, second = core.live.scope[1:]
    one, two = (axis.position_um for axis in core.axis)
    if first.stroke_um < second.stroke_um:
        one = _at_share(one, first, second)
    else:
        two = _at_share(two, second, first)
    return one - two


# ---------------------------------------------------------------- commands


def _can_be_ganged(settings: Any) -> bool:
    return bool(settings.feedback == Feedback.POT and settings.calibrated)


def _is_for_gangs(order: Order) -> bool:
    by_speed = order.id == MessageId.JOG and order.unit != JogUnit.OUTPUT
    return order.id in (MessageId.MOVE, MessageId.LEVEL) or by_speed


def _share_out(settings: Any, other: Any, mine: Order) -> Order:
    """Slows `mine`, which is good for its axis, to what both can do; the other axis's order."""
    speed = mine.speed_um_s
    direction = -1 if speed < 0 else 1
    if speed == 0 and mine.id == MessageId.MOVE:
        speed = settings.speed_max_um_s
    speed *= direction
    its_speed = _at_share(speed, settings, other)
    if its_speed > other.speed_max_um_s:
        its_speed = other.speed_max_um_s
        speed = _at_share(its_speed, other, settings)
    mine.speed_um_s = speed * direction
    its_value = _at_share(mine.value, settings, other)
    return Order(mine.id, mine.unit, its_value, its_speed * direction)


def gang_start(core: Twin, index: int, order: Order) -> int:
    """Begins a motion, ganged or not: of a gang that of both axes, or of none."""
    from rodbench.emulator.twin.handle_motion import start_axis

    settings, other = core.live.scope[index + 1], core.live.scope[2 - index]
    alone = index + 1 if order.id == MessageId.LEVEL else 0
    both = gang_is_on(core)
    if not both and alone:
        return Status.NOT_SUPPORTED
    if both:
        if not (_can_be_ganged(settings) and _can_be_ganged(other) and _is_for_gangs(order)):
            return Status.GANGED
        if core.gang.alone != alone and not core.at_rest():
            return Status.IN_MOTION
        core.gang.alone = alone
        both = not alone
    its = order
    status: int = Status.OK
    for trial in (1, 0):
        status = start_axis(core, index, order, trial)
        if status == Status.OK and both:
            if trial:
                its = _share_out(settings, other, order)
            status = start_axis(core, index ^ 1, its, trial)
        if status != Status.OK:
            break
    return status


# ---------------------------------------------------------------- tick


def _follow(core: Twin, index: int, lead: int) -> None:
    """One axis, that is `lead` before the other."""
    axis, other = core.axis[index], core.axis[index ^ 1]
    step = (core.live.board.apart_trip_um >> 9) + 1
    if not axis_is_moving(axis):
        return
    if not axis_is_moving(other) and other.ended != Ended.REACHED:
        ramps = int(other.state != AxisState.FAULT)
        core.stop(index, ramps, Ended.GANG)
    lead *= -1 if axis.track.direction < 0 else 1
    axis.wait = between(div_toward_zero(lead, step), 0, WAIT_MOST)


def gang_tick(core: Twin) -> None:
    """Before the axes' own tick. From rest the first tick decides whether rods are apart."""
    gang, trip = core.gang, core.live.board.apart_trip_um
    if trip == 0 or core.at_rest():
        gang.apart_ticks = APART_TICKS - 1
        return
    core.axis[0].guard.start_ticks = core.axis[1].guard.start_ticks = 0  # one may move the other
    apart = _apart_um(core)
    if abs(apart) <= (trip + trip if gang.alone else trip):
        gang.apart_ticks = 0
    else:
        gang.apart_ticks = (gang.apart_ticks + 1) & 0xFF
        if gang.apart_ticks == APART_TICKS:
            core.trip(Fault.APART)
    if not gang.alone:
        _follow(core, 0, apart)
        _follow(core, 1, -apart)
