"""Where the rod is and how fast it goes, from the pot alone. Sibling of position.c."""

from __future__ import annotations

from typing import Any

from rodbench_protocol import table
from rodbench_protocol.names import Feedback

from rodbench.emulator.twin.number import between

POSITION_BLOCK = 16
JUMP = 256
FRACTION = 14
PART = 13
RATE_MAX = 64 << FRACTION
TICKS_PER_S = 200
UM_MIN = -2000000
UM_MAX = 4000000
UM_S_MAX = 400000
_TWO_WIRES = int(Feedback.NONE)


class Position:
    """position_t."""

    __slots__ = (
        "block",
        "block_ready",
        "block_sum",
        "block_ticks",
        "estimate",
        "jumped",
        "knots",
        "last",
        "noise_um",
        "rate",
        "span",
        "started",
        "threshold",
        "um_part",
        "um_whole",
    )

    def __init__(self) -> None:
        self.estimate = self.rate = self.block_sum = self.block = 0
        self.um_whole = self.um_part = self.span = 0
        self.knots: list[table.Knot] = []
        self.noise_um = self.threshold = 0
        self.block_ticks = self.block_ready = self.started = 0
        self.last = self.jumped = 0


def _take_line(position: Position, settings: Any, noise: int) -> None:
    position.knots = table.knots(vars(settings))
    position.span = position.knots[-1][0]
    position.um_whole, rest = divmod(settings.stroke_um, position.span)
    position.um_part = (rest << PART) // position.span
    position.noise_um = (position_count_um(position) * noise) >> 3


def _begin(position: Position, settings: Any, raw: int) -> None:
    position.last = raw
    noise: int = 0 if settings.feedback == _TWO_WIRES else settings.noise_x16
    if settings.table_points:
        noise = noise * 2 + 8
    position.threshold = max(noise + noise // 2, 2 * POSITION_BLOCK)
    if settings.calibrated:
        _take_line(position, settings, noise)


def position_new_block(position: Position) -> None:
    """Begin a fresh block with the next reading."""
    position.block_sum = 0
    position.block_ticks = 0
    position.block_ready = 0


def _see_jump(position: Position, settings: Any, raw: int) -> int:
    """The reading; in place of the first one too far, which may be a spark, the last."""
    way = abs(raw - position.last)
    far = position.span != 0 and way > JUMP + settings.noise_x16
    position.jumped = (position.jumped & 1) + 1 if far else 0
    if position.jumped != 1:
        position.last = raw
    return position.last


def _straightened(position: Position, settings: Any, raw: int) -> int:
    """The way of a reading."""
    if position.span == 0:
        return raw
    retracted: int = settings.raw_retracted
    way = retracted - raw if settings.raw_extended < retracted else raw - retracted
    return table.straight(position.knots, way) if settings.table_points else way


def position_update(position: Position, settings: Any, raw: int) -> None:
    """One reading, one tick."""
    started = position.started
    if not started:
        _begin(position, settings, raw)
    way = _straightened(position, settings, _see_jump(position, settings, raw))
    if not started:
        position.started = 1
        position.estimate = way << FRACTION
        position.block = way * POSITION_BLOCK
    predicted = position.estimate + position.rate
    residue = (way << FRACTION) - predicted
    position.estimate = predicted + (residue >> 2)
    rate = position.rate + (residue >> 5)
    position.rate = -RATE_MAX if rate < -RATE_MAX else RATE_MAX if rate > RATE_MAX else rate
    position.block_sum += way
    position.block_ticks += 1
    if position.block_ticks < POSITION_BLOCK:
        position.block_ready = 0
        return
    position.block = position.block_sum
    position_new_block(position)
    position.block_ready = 1


def _scaled(position: Position, way: int) -> int:
    return (way * position.um_whole + ((way * position.um_part) >> PART)) >> 4


def _um_of(position: Position, way16: int) -> int:
    return between(_scaled(position, way16), UM_MIN, UM_MAX) if position.span else 0


def position_um(position: Position) -> int:
    """The estimate in um; 0 while uncalibrated."""
    return _um_of(position, position.estimate >> (FRACTION - 4))


def position_block_um(position: Position) -> int:
    """The last full block in um."""
    return _um_of(position, position.block)


def position_speed(position: Position) -> int:
    """um/s; raw/s while uncalibrated."""
    raw_s = (position.rate * TICKS_PER_S) >> (FRACTION - 4)
    if position.span == 0:
        return raw_s >> 4
    return between(_scaled(position, raw_s), -UM_S_MAX, UM_S_MAX)


def position_count_um(position: Position) -> int:
    """One raw count in um, rounded up."""
    return position.um_whole + 1


def position_block_travel(position: Position, settings: Any, um_s: int) -> int:
    """How far a block travels from one to the next at a speed of 0 .. 200 000 um/s."""
    um = um_s * 32 // 25
    return um * position.span // settings.stroke_um  # type: ignore[no-any-return]
