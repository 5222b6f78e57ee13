"""Samples back to wire units: a recording keeps what the board sent, not what was made of it."""

from __future__ import annotations

from rodbench_protocol.names import AxisAlso, AxisFlags, AxisTelemetry, BoardTelemetry
from rodbench_protocol.names import Event as WireEvent

from rodbench.board import AxisSample, BoardSample, Event

_PLACES = {
    None: 0,
    "retracted": int(AxisFlags.NEAR_RETRACTED),
    "extended": int(AxisFlags.NEAR_EXTENDED),
    "between": int(AxisFlags.BETWEEN),
}


def _milli(value: float | None) -> int:
    return 0 if value is None else round(value * 1000)


def axis(s: AxisSample) -> AxisTelemetry:
    """Telemetry that `board.convert` makes this sample of."""
    return AxisTelemetry(
        s.counter, s.tick, s.axis, s.state, _flags(s), s.raw,
        _milli(s.position_mm), _milli(s.speed_mm_s) if s.calibrated else round(s.speed_raw_s or 0),
        _milli(s.reference_mm), _milli(s.current_a), _milli(s.output), s.faults,
        _milli(s.duty_used), s.motion, _also(s),
    )  # fmt: skip


def board(s: BoardSample) -> BoardTelemetry:
    """As `axis`."""
    ready, heat, local = s.duty_ready_s or (0, 0), s.heat or (0, 0), s.local or (0, 0)
    return BoardTelemetry(
        s.counter, s.tick, _milli(s.supply_v), _milli(s.board_5v), s.inputs or 0,
        s.faults, *s.on_ticks, _milli(s.duty_left_s[0]), _milli(s.duty_left_s[1]), s.frames_bad,
        s.late_ticks, _milli(ready[0]), _milli(ready[1]), _milli(heat[0]), _milli(heat[1]), *local,
    )  # fmt: skip


def event(e: Event) -> WireEvent:
    """As `axis`."""
    return WireEvent(
        e.counter, e.tick, e.number, e.axis, e.kind, e.cause, e.raw,
        _milli(e.position_mm), _milli(e.current_a), _milli(e.output), e.value_a, e.value_b,
    )  # fmt: skip


def _flags(s: AxisSample) -> int:
    flags = _PLACES[s.place]
    flags |= AxisFlags.CALIBRATED if s.calibrated else 0
    flags |= AxisFlags.PROVEN if s.proven else 0
    flags |= AxisFlags.OUTSIDE if s.outside else 0
    flags |= AxisFlags.HELD_BACK if s.held_back else 0
    return int(flags | (AxisFlags.BRAKING if s.braking else 0))


def _also(s: AxisSample) -> int:
    told = (
        (AxisAlso.LOCAL, s.local), (AxisAlso.ARMED, s.armed),
        (AxisAlso.SOURCE_LOST, s.source_lost), (AxisAlso.GANGED, s.ganged),
        (AxisAlso.FOLDED_BACK, s.folded_back), (AxisAlso.WARM, s.warm),
    )  # fmt: skip
    return sum(int(bit) for bit, is_set in told if is_set)
