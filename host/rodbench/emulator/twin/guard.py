"""The guards of one axis that judge readings. Sibling of guard.c."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import CurrentSensor, Fault, Feedback
from rodbench_protocol.schema import load_schema

from rodbench.emulator.twin.number import between
from rodbench.emulator.twin.position import (
    Position,
    position_block_travel,
    position_count_um,
)

BAND_TICKS = 5
BAND_TICKS_AT_END = 200
FULL_SCALE = load_schema().board_kinds["atmega328p_5v"].adc_full_scale
TICK_MS = 5
UNKNOWN_TRAVEL = 13
CURRENT_TRAVEL = 1000000
STILL_EXTRA = 40
SETTLE_TICKS = 200
START_TICKS = 80
_NO_SENSOR, _TWO_WIRES = int(CurrentSensor.NONE), int(Feedback.NONE)
_OVER_CURRENT, _POT_BAND = int(Fault.OVER_CURRENT), int(Fault.POT_BAND)
_POT_OPEN, _POT_SHORT = int(Fault.POT_OPEN), int(Fault.POT_SHORT)
_STALL, _NO_CURRENT = int(Fault.STALL), int(Fault.NO_CURRENT)
_NOT_FOLLOWING, _WRONG_WAY = int(Fault.POT_NOT_FOLLOWING), int(Fault.WRONG_WAY)


class Guard:
    """guard_t."""

    __slots__ = (
        "band_ticks",
        "current_mean",
        "direction",
        "furthest_um",
        "mark",
        "moved",
        "over_ticks",
        "own_ma",
        "start_ticks",
        "still_limit",
        "still_ticks",
        "was_inside",
    )

    def __init__(self) -> None:
        self.mark = self.furthest_um = self.current_mean = self.own_ma = 0
        self.still_ticks = self.still_limit = self.over_ticks = 0
        self.band_ticks = self.was_inside = self.direction = self.moved = 0
        self.start_ticks = 0


class GuardIn:
    """What of its axis a guard looks at; C reads the axis itself."""

    __slots__ = (
        "current_lsb_ma",
        "current_ma",
        "folded_back",
        "output_permille",
        "slow_um_s",
        "um",
    )

    def __init__(self) -> None:
        self.output_permille = self.current_ma = 0
        self.current_lsb_ma = self.um = self.slow_um_s = self.folded_back = 0


def guard_begin(guard: Guard) -> None:
    """A motion begins: nothing is held against it yet."""
    band_ticks = guard.band_ticks
    guard.__init__()  # type: ignore[misc]
    guard.band_ticks = band_ticks


def _out_of_band(settings: Any, raw: int) -> int:
    """What a reading tells of the pot; 0: nothing is wrong."""
    margin: int = settings.pot_margin_raw
    edge = margin // 2
    if raw < edge:
        return _POT_OPEN
    if raw > FULL_SCALE - edge:
        return _POT_SHORT
    if not settings.calibrated:
        return 0
    low, high = sorted((settings.raw_retracted, settings.raw_extended))
    return 0 if low - margin <= raw <= high + margin else _POT_BAND


def guard_pot_band(guard: Guard, settings: Any, raw: int, driving: bool) -> int:
    """A fault number, or 0. Uncalibrated, only driving counts, and late at an end."""
    fault = _out_of_band(settings, raw)
    if fault == 0:
        guard.was_inside |= driving
        guard.band_ticks = 0
        return 0
    if not settings.calibrated and not driving:
        guard.band_ticks = 0
    elif guard.band_ticks < BAND_TICKS_AT_END:
        guard.band_ticks += 1
    most = BAND_TICKS if settings.calibrated or guard.was_inside else BAND_TICKS_AT_END
    return fault if guard.band_ticks >= most else 0


def _unmoved(position: Position) -> int:
    """What noise and a pot's play may show of a rod that stands, um."""
    return max(1000, position.noise_um * 4 + position_count_um(position))


def guard_moving_off(guard: Guard, position: Position, um: int) -> bool:
    """In ticks at rest, calibrated: whether the rod left where it came to rest."""
    if guard.start_ticks < SETTLE_TICKS:
        guard.start_ticks += 1
        guard.furthest_um = um
    return abs(um - guard.furthest_um) > _unmoved(position)


def guard_over_current(guard: Guard, settings: Any, current_ma: int) -> int:
    """A fault number, or 0. In ticks with output only."""
    if current_ma <= settings.trip_ma:
        guard.over_ticks = 0
        return 0
    guard.over_ticks += TICK_MS
    return _OVER_CURRENT if guard.over_ticks >= settings.trip_ms else 0


def _cause_without_motion(guard: Guard, settings: Any, view: GuardIn) -> int:
    if settings.current_sensor == _NO_SENSOR or view.folded_back:
        return _STALL
    mean, step = guard.current_mean >> 4, view.current_lsb_ma
    running = settings.running_ma
    high = running + running // 5 if running else settings.trip_ma // 2
    if settings.feedback == _TWO_WIRES:
        most = running * 2
        running = guard.own_ma
        high = running + running // 4 + step & 0xFFFF
        high = most if 0 < most < high else high
    if mean < 0 or mean < running // 4 or mean < step * 2:
        return _NO_CURRENT
    return _STALL if mean >= high else _NOT_FOLLOWING


def guard_runs(guard: Guard, settings: Any, view: GuardIn) -> bool:
    """Behind guard_motion: whether the motor draws what a running one does."""
    mean = guard.current_mean >> 4
    if guard.start_ticks < START_TICKS:
        guard.start_ticks += 1
        guard.own_ma = max(mean, 0)
    runs = _cause_without_motion(guard, settings, view) == _NOT_FOLLOWING
    if runs and guard.still_ticks & 3 == 0:
        step = guard.own_ma // 128 + 1
        guard.own_ma += step if mean > guard.own_ma else -step
    return runs


def _still_limit(settings: Any, position: Position, view: GuardIn) -> int:
    travel = CURRENT_TRAVEL if settings.feedback == _TWO_WIRES else UNKNOWN_TRAVEL
    if settings.calibrated:
        travel = max(position_block_travel(position, settings, view.slow_um_s), 1)
    ticks = position.threshold * 64 // travel + STILL_EXTRA
    return between(ticks, settings.stall_time_ms // TICK_MS, 60000)


def _drives_enough(settings: Any, output_permille: int) -> bool:
    if not settings.calibrated:
        return True
    dead: int = settings.dead_zone_extend_permille
    if output_permille < 0:
        dead = settings.dead_zone_retract_permille
    size = abs(output_permille)
    creep: int = settings.creep_output_permille
    return size >= dead + dead // 4 + 30 or size >= creep // 8 * 7


def _look_for_motion(guard: Guard, position: Position) -> None:
    travel = position.block - guard.mark
    if position.span == 0:
        travel = abs(travel)
    elif guard.direction < 0:
        travel = -travel
    if travel >= position.threshold:
        guard.mark = position.block
        guard.still_ticks = 0
        guard.moved = 1


def _watch(guard: Guard, settings: Any, position: Position, view: GuardIn, direction: int) -> None:
    guard.direction = direction
    guard.mark = position.block
    guard.furthest_um = view.um * direction
    guard.current_mean = view.current_ma * 16
    guard.still_limit = _still_limit(settings, position, view)
    guard.still_ticks = 0
    guard.moved = 0
    guard.start_ticks = 0


def _goes_wrong_way(guard: Guard, settings: Any, position: Position, um: int) -> bool:
    way = um * guard.direction
    if way >= guard.furthest_um:
        guard.furthest_um = way
        return False
    allowed = _unmoved(position) + max(settings.run_on_extend_um, settings.run_on_retract_um)
    return position.span != 0 and way < guard.furthest_um - allowed


def guard_motion(guard: Guard, settings: Any, position: Position, view: GuardIn) -> int:
    """A fault number, or 0. In ticks with output only."""
    direction = -1 if view.output_permille < 0 else 1
    if direction != guard.direction:
        _watch(guard, settings, position, view, direction)
    guard.current_mean += (view.current_ma * 16 - guard.current_mean) >> 4
    if position.block_ready:
        _look_for_motion(guard, position)
    if _goes_wrong_way(guard, settings, position, view.um):
        return _WRONG_WAY
    if not view.folded_back and not _drives_enough(settings, view.output_permille):
        return 0
    guard.still_ticks += 1
    if guard.still_ticks >= guard.still_limit:
        return _cause_without_motion(guard, settings, view)
    return 0
