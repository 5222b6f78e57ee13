"""One axis. So far only that of an axis without a rod; what moves follows."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import AxisState, Ended, Status


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
        self.state = int(AxisState.NOT_FITTED)
        self.flags = self.cause = self.motion = self.raw = self.faults = 0
        self.ended = int(Ended.NONE)
        self.position_um = self.speed_um_s = self.reference_um = 0
        self.current_ma = self.output_permille = 0
        self.rest_raw = self.rest_position_um = self.on_ticks = 0
        self.current_before_ma = self.current_stop_ma = self.current_probe_ma = 0


def axis_init(axis: Axis) -> None: ...
def axis_settings_changed(axis: Axis) -> None: ...
def axis_jog(axis: Axis, settings: Any, tick: int, unit: int, value: int) -> int:
    return Status.NOT_FITTED


def axis_run(axis: Axis, settings: Any, tick: int, output_permille: int) -> int:
    return Status.NOT_FITTED


def axis_seek(axis: Axis, settings: Any, tick: int, direction: int) -> int:
    return Status.NOT_FITTED


def axis_move(axis: Axis, settings: Any, tick: int, target_um: int, speed_um_s: int) -> int:
    return Status.NOT_FITTED


def axis_stop(axis: Axis, settings: Any, category: int, reason: int) -> None: ...
def axis_renew(axis: Axis, echoed_tick: int) -> None: ...
def axis_clear(axis: Axis) -> int:
    return 0


def axis_at_rest(axis: Axis) -> bool:
    return True


def axis_tick(axis: Axis, settings: Any, axis_in: AxisIn, out: AxisOut) -> None:
    axis.raw = axis_in.raw
