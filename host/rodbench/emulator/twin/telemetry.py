"""Telemetry: at most one axis frame per tick; the board's waits for a tick without one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import AxisAlso, MessageId

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.duty import (
    duty_room,
    duty_total,
    duty_used_permille,
    duty_wait,
)
from rodbench.emulator.twin.gang import gang_is_on
from rodbench.emulator.twin.thermal import thermal_permille
from rodbench.emulator.twin.tx import tx_unasked

if TYPE_CHECKING:
    from rodbench.emulator.twin.core import Twin

AXES = 2
MS_PER_TICK = 5
_WAITS = 4
_AXIS, _AXIS_ID = wire.unasked("telemetry_axis"), int(MessageId.TELEMETRY_AXIS)
_GANGED = int(AxisAlso.GANGED)
_BOARD, _BOARD_ID = wire.unasked("telemetry_board"), int(MessageId.TELEMETRY_BOARD)


class Telemetry:
    """Periods in ticks, 0 for none; where in them the board is."""

    __slots__ = ("axis_period", "axis_phase", "board_left", "board_period", "board_waited")

    def __init__(self) -> None:
        self.axis_period = 0
        self.board_period = 0
        self.axis_phase = 0
        self.board_left = 0
        self.board_waited = 0


def telemetry_header(core: Twin, number: int) -> tuple[int, int, int]:
    """Header of an unasked frame."""
    counter = core.tx.counter
    core.tx.counter = (counter + 1) & 0xFF
    return number, core.session.number, counter


def telemetry_send(core: Twin, frame: bytes) -> None:
    """Send an unasked frame, or count it as dropped."""
    if not tx_unasked(core.tx, frame):
        core.counters.unasked_dropped = (core.counters.unasked_dropped + 1) & 0xFFFF


def _send_axis(core: Twin, index: int) -> None:
    axis = core.axis[index]
    frame = _AXIS.pack(
        *telemetry_header(core, _AXIS_ID),
        core.ticks,
        index + 1,
        axis.state,
        axis.flags,
        axis.raw,
        axis.position_um,
        axis.speed_um_s,
        axis.reference_um,
        axis.current_ma,
        axis.output_permille,
        axis.faults,
        duty_used_permille(core.noinit.duty[index], core.live.scope[index + 1]),
        axis.motion,
        axis.also & 0x7F | (_GANGED if gang_is_on(core) else 0),
    )
    telemetry_send(core, frame)


def _send_board(core: Twin) -> None:
    duty = core.noinit.duty
    rooms = [duty_room(duty[i], core.live.scope[i + 1]) * MS_PER_TICK for i in range(AXES)]
    frame = _BOARD.pack(
        *telemetry_header(core, _BOARD_ID),
        core.ticks,
        core.supply_mv,
        core.board_5v_mv,
        core.inputs,
        core.faults,
        duty_total(duty[0]),
        duty_total(duty[1]),
        *rooms,
        core.counters.frames_bad,
        core.counters.late_ticks,
        *(duty_wait(record, 0) * MS_PER_TICK for record in duty),
        *map(thermal_permille, core.noinit.heat),
        core.axis[0].local.value,
        core.axis[1].local.value,
    )
    telemetry_send(core, frame)


def telemetry_subscribe(core: Twin, axis_period: int, board_period: int) -> None:
    """Begin anew with these periods in ticks."""
    telemetry = core.telemetry = Telemetry()
    telemetry.axis_period = axis_period
    telemetry.board_period = board_period


def _axes_tick(core: Twin, telemetry: Telemetry) -> bool:
    phase, period = telemetry.axis_phase, telemetry.axis_period
    if period == 0:
        return False
    telemetry.axis_phase = 0 if phase + 1 == period else phase + 1
    if phase not in (0, period // 2):
        return False
    _send_axis(core, int(phase != 0))
    return True


def _board_tick(core: Twin, telemetry: Telemetry, tick_taken: bool) -> None:
    if telemetry.board_period == 0:
        return
    if telemetry.board_left > 0:
        telemetry.board_left -= 1
    elif tick_taken and telemetry.axis_period > AXES:
        telemetry.board_waited += 1
    else:
        _send_board(core)
        telemetry.board_left = telemetry.board_period - 1 - telemetry.board_waited
        telemetry.board_waited = 0


def telemetry_tick(core: Twin) -> None:
    """Frames that are due in this tick."""
    telemetry = core.telemetry
    _board_tick(core, telemetry, _axes_tick(core, telemetry))


def telemetry_wait(core: Twin) -> None:
    """This tick has much else to do: a board's frame that is due goes one later."""
    telemetry = core.telemetry
    if telemetry.board_left == 0 and telemetry.board_waited < _WAITS:
        telemetry.board_left = 1
        telemetry.board_waited += 1
