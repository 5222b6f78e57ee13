"""Finding an end: creep, dwell, probe, evidence. Sibling of seek.c."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import CurrentSensor

from rodbench.emulator.twin.div import div_nearest
from rodbench.emulator.twin.position import (
    POSITION_BLOCK,
    Position,
    position_new_block,
)

SEEK_GOING = 0
SEEK_PROBING = 1
SEEK_FOUND = 2

DWELL_MIN = 46
DWELL_MAX = 400
DWELL_MAX_BLIND = 60
DWELL_START_BLIND = 180
SETTLE = 16
PROBE_TICKS = 20
PROBE_HALF = 10
SLOWEST_TRAVEL = 26
SURE_RUNS = 3
SEEK_LAST = 4
_NO_SENSOR = int(CurrentSensor.NONE)


class Seek:
    """seek_t."""

    __slots__ = (
        "block_current",
        "current_before",
        "current_last",
        "current_probe",
        "current_stop",
        "current_sum",
        "dwell",
        "mark",
        "probe_ticks",
        "runs",
        "still_ticks",
        "travel",
    )

    def __init__(self) -> None:
        self.mark = self.current_sum = self.block_current = self.travel = 0
        self.still_ticks = self.dwell = self.current_before = 0
        self.current_last = [0] * SEEK_LAST
        self.current_stop = self.current_probe = self.runs = self.probe_ticks = 0


def _set_dwell(seek: Seek, settings: Any, position: Position) -> None:
    travel = max(seek.travel, 1) if seek.runs >= SURE_RUNS else SLOWEST_TRAVEL
    ticks = position.threshold * 64 // travel + 2 * SETTLE
    most = DWELL_MAX
    if settings.current_sensor == _NO_SENSOR:
        most = DWELL_MAX_BLIND if seek.runs > 0 else DWELL_START_BLIND
    seek.dwell = min(max(ticks, DWELL_MIN), most)


def seek_begin(seek: Seek, settings: Any, position: Position) -> None:
    """Begin, also with a fresh block."""
    seek.__init__()  # type: ignore[misc]
    seek.mark = position.block
    _set_dwell(seek, settings, position)
    position_new_block(position)


def _keep_running_current(seek: Seek) -> None:
    if seek.runs < SEEK_LAST + 1:
        seek.runs += 1
    if seek.runs >= 2:
        before = seek.current_before
        last = seek.current_last[seek.runs - 2]
        seek.current_before = last if seek.runs == 2 else before + ((last - before) >> 3)


def _see_motion(seek: Seek, settings: Any, position: Position) -> None:
    blocks = max((seek.still_ticks + POSITION_BLOCK // 2) // POSITION_BLOCK, 1)
    travel = abs(position.block - seek.mark) // blocks
    _keep_running_current(seek)
    seek.travel = seek.travel + ((travel - seek.travel) >> 2) if seek.runs > 1 else travel
    seek.mark = position.block
    seek.still_ticks = 0
    seek.current_sum = 0
    _set_dwell(seek, settings, position)


def _probe_tick(seek: Seek, settings: Any, position: Position, current_ma: int) -> int:
    moved = abs(position.block - seek.mark)
    if position.block_ready and moved >= 2 * position.threshold:
        seek_begin(seek, settings, position)
        return SEEK_GOING
    if seek.probe_ticks > PROBE_HALF:
        seek.current_sum += current_ma
    if seek.probe_ticks < PROBE_TICKS:
        seek.probe_ticks += 1
        return SEEK_PROBING
    seek.current_probe = div_nearest(seek.current_sum, PROBE_TICKS - PROBE_HALF)
    return SEEK_FOUND


def _creep_tick(seek: Seek, settings: Any, position: Position, current_ma: int) -> int:
    seek.block_current += current_ma
    seek.still_ticks += 1
    if seek.still_ticks > SETTLE:
        seek.current_sum += current_ma
    if position.block_ready:
        if abs(position.block - seek.mark) >= position.threshold:
            _see_motion(seek, settings, position)
        seek.current_last.insert(0, div_nearest(seek.block_current, POSITION_BLOCK))
        seek.current_last.pop()
        seek.block_current = 0
    if seek.still_ticks < seek.dwell:
        return SEEK_GOING
    seek.current_stop = div_nearest(seek.current_sum, seek.still_ticks - SETTLE)
    seek.current_sum = 0
    seek.probe_ticks = 1
    position_new_block(position)
    return SEEK_PROBING


def seek_tick(seek: Seek, settings: Any, position: Position, current_ma: int) -> int:
    """One tick with output: SEEK_..."""
    if seek.probe_ticks > 0:
        return _probe_tick(seek, settings, position, current_ma)
    return _creep_tick(seek, settings, position, current_ma)
