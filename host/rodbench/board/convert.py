"""From wire units to mm, mm/s, A and V."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rodbench_protocol.names import AxisAlso, AxisFlags, AxisTelemetry, BoardTelemetry
from rodbench_protocol.names import Event as WireEvent
from rodbench_protocol.schema import load_schema

from rodbench.board.types import AxisSample, BoardSample, Event, Hello, Outcome, Sample

GUARDS_MINOR = 2  # the protocol minor that brought inputs, heat and local control
_PLACES = (
    (AxisFlags.NEAR_RETRACTED, "retracted"),
    (AxisFlags.NEAR_EXTENDED, "extended"),
    (AxisFlags.BETWEEN, "between"),
)


def mm_per_raw(live: Mapping[str, int]) -> float:
    """mm of the rod per raw of its pot, below 0 where the pot falls; by an axis's settings, whose
    endpoints differ."""
    return live["stroke_um"] / 1000 / (live["raw_extended"] - live["raw_retracted"])


def sample(unasked: AxisTelemetry | BoardTelemetry | WireEvent, minor: int) -> Sample:
    """The sample of what came unasked from a board of this protocol minor."""
    if isinstance(unasked, AxisTelemetry):
        return axis_sample(unasked)
    if isinstance(unasked, BoardTelemetry):
        return board_sample(unasked, minor)
    return event(unasked)


def axis_sample(t: AxisTelemetry) -> AxisSample:
    """Telemetry of an axis."""
    flags = t.flags
    calibrated = bool(flags & AxisFlags.CALIBRATED)
    return AxisSample(
        tick=t.tick,
        axis=t.axis,
        state=t.state,
        raw=t.raw,
        position_mm=t.position_um / 1000 if calibrated else None,
        speed_mm_s=t.speed_um_s / 1000 if calibrated else None,
        speed_raw_s=None if calibrated else float(t.speed_um_s),
        reference_mm=t.reference_um / 1000 if calibrated else None,
        current_a=t.current_ma / 1000,
        output=t.output_permille / 1000,
        faults=t.faults,
        duty_used=t.duty_used_permille / 1000,
        motion=t.motion,
        calibrated=calibrated,
        proven=bool(flags & AxisFlags.PROVEN),
        outside=bool(flags & AxisFlags.OUTSIDE),
        held_back=bool(flags & AxisFlags.HELD_BACK),
        braking=bool(flags & AxisFlags.BRAKING),
        place=next((word for flag, word in _PLACES if flags & flag), None),
        local=bool(t.also & AxisAlso.LOCAL),
        armed=bool(t.also & AxisAlso.ARMED),
        source_lost=bool(t.also & AxisAlso.SOURCE_LOST),
        ganged=bool(t.also & AxisAlso.GANGED),
        folded_back=bool(t.also & AxisAlso.FOLDED_BACK),
        warm=bool(t.also & AxisAlso.WARM),
        counter=t.counter,
    )


def board_sample(t: BoardTelemetry, minor: int) -> BoardSample:
    """Telemetry of a board of this protocol minor."""
    told = minor >= GUARDS_MINOR
    return BoardSample(
        tick=t.tick,
        supply_v=t.supply_mv / 1000,
        board_5v=t.board_5v_mv / 1000 if t.board_5v_mv else None,
        inputs=t.inputs if told else None,
        faults=t.faults,
        on_ticks=(t.on_ticks_1, t.on_ticks_2),
        duty_left_s=(t.duty_left_1_ms / 1000, t.duty_left_2_ms / 1000),
        frames_bad=t.frames_bad,
        late_ticks=t.late_ticks,
        duty_ready_s=(t.duty_ready_1_ms / 1000, t.duty_ready_2_ms / 1000) if told else None,
        heat=(t.heat_1_permille / 1000, t.heat_2_permille / 1000) if told else None,
        local=(t.local_1, t.local_2) if told else None,
        counter=t.counter,
    )


def event(e: WireEvent) -> Event:
    """An event."""
    return Event(
        tick=e.tick,
        number=e.number,
        axis=e.axis,
        kind=e.kind,
        cause=e.cause,
        raw=e.raw,
        position_mm=e.position_um / 1000,
        current_a=e.current_ma / 1000,
        output=e.output_permille / 1000,
        value_a=e.value_a,
        value_b=e.value_b,
        counter=e.counter,
    )


def outcome(f: dict[str, Any]) -> Outcome:
    """The reply to `outcome`."""
    return Outcome(
        axis=f["axis"],
        motion=f["motion"],
        ended=f["ended"],
        cause=f["cause"],
        raw=f["raw"],
        position_mm=f["position_um"] / 1000,
        current_before_a=f["current_before_ma"] / 1000,
        current_stop_a=f["current_stop_ma"] / 1000,
        current_probe_a=f["current_probe_ma"] / 1000,
        on_ticks=f["on_ticks"],
    )


def _current_full_scale(board_kind: int) -> int:
    """Of a board of protocol 1.0, which did not say it; 0 for a kind that is not known here."""
    kinds = load_schema().board_kinds.values()
    return next((kind.current_full_scale for kind in kinds if kind.id == board_kind), 0)


def hello(f: dict[str, Any]) -> Hello:
    """The reply to `hello`."""
    return Hello(
        protocol_major=f["protocol_major"],
        protocol_minor=f["protocol_minor"],
        schema_digest=f["schema_digest"],
        boot_nonce=f["boot_nonce"],
        firmware=f"{f['firmware_major']}.{f['firmware_minor']}.{f['firmware_patch']}",
        name=f["name"],
        board_kind=f["board_kind"],
        axis_count=f["axis_count"],
        features=f["features"],
        reset_cause=f["reset_cause"],
        adc_full_scale=f["adc_full_scale"],
        adc_reference_v=f["adc_reference_mv"] / 1000,
        current_full_scale=f["current_full_scale"] or _current_full_scale(f["board_kind"]),
        board_id=f["board_id"],
        digest_live=f["digest_live"],
        digest_stored=f["digest_stored"],
    )
