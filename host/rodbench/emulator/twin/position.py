"""Where the rod is and how fast it goes, from the pot alone. Sibling of position.c."""

from __future__ import annotations

from typing import Any

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
        "last",
        "noise_um",
        "rate",
        "sign",
        "span",
        "started",
        "threshold",
        "um_part",
        "um_whole",
    )

    def __init__(self) -> None:
        self.estimate = self.rate = self.block_sum = self.block = 0
        self.um_whole = self.um_part = self.span = self.sign = 0
        self.noise_um = self.threshold = 0
        self.block_ticks = self.block_ready = self.started = 0
        self.last = self.jumped = 0


def _take_line(position: Position, settings: Any) -> None:
    span = settings.raw_extended - settings.raw_retracted
    position.sign = -1 if span < 0 else 1
    position.span = abs(span)
    position.um_whole, rest = divmod(settings.stroke_um, position.span)
    position.um_part = (rest << PART) // position.span
    position.noise_um = (position_count_um(position) * settings.noise_x16) >> 3


def _begin(position: Position, settings: Any, raw: int) -> None:
    position.started = 1
    position.estimate = raw << FRACTION
    position.block = raw * POSITION_BLOCK
    position.last = raw
    noise: int = 0 if settings.feedback == _TWO_WIRES else settings.noise_x16
    position.threshold = max(noise + noise // 2, 2 * POSITION_BLOCK)
    if settings.calibrated:
        _take_line(position, settings)


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


def position_update(position: Position, settings: Any, raw: int) -> None:
    """One reading, one tick."""
    if not position.started:
        _begin(position, settings, raw)
    raw = _see_jump(position, settings, raw)
    predicted = position.estimate + position.rate
    residue = (raw << FRACTION) - predicted
    position.estimate = predicted + (residue >> 2)
    rate = position.rate + (residue >> 5)
    position.rate = -RATE_MAX if rate < -RATE_MAX else RATE_MAX if rate > RATE_MAX else rate
    position.block_sum += raw
    position.block_ticks += 1
    if position.block_ticks < POSITION_BLOCK:
        position.block_ready = 0
        return
    position.block = position.block_sum
    position_new_block(position)
    position.block_ready = 1


def _scaled(position: Position, raw: int) -> int:
    way = -raw if position.sign < 0 else raw
    return (way * position.um_whole + ((way * position.um_part) >> PART)) >> 4


def _um_of(position: Position, settings: Any, raw16: int) -> int:
    if position.span == 0:
        return 0
    return between(_scaled(position, raw16 - settings.raw_retracted * 16), UM_MIN, UM_MAX)


def position_um(position: Position, settings: Any) -> int:
    """The estimate in um; 0 while uncalibrated."""
    return _um_of(position, settings, position.estimate >> (FRACTION - 4))


def position_block_um(position: Position, settings: Any) -> int:
    """The last full block in um."""
    return _um_of(position, settings, position.block)


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
