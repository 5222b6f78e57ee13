"""One rod of a gang moved alone until both are level."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench_protocol.names import Ended

from rodbench.board.convert import mm_per_raw

if TYPE_CHECKING:
    from rodbench.board import Axis, Outcome
    from rodbench.board.gang import Gang

TRIES = 6
SLOWER = 0.4  # of the speed before, so that the run-on shrinks
SEEN_LATE_S = 0.1  # the filter, a telemetry period and the way to the board, rounded up
NOISE = 3.0  # sigmas
LEAST_MM = 0.1  # nearer than this nobody bolts a bar


@dataclass(frozen=True, slots=True)
class Levelled:
    """How far the axis is ahead at rest; the outcome that barred it, None when nothing did."""

    ahead_mm: float
    is_level: bool
    outcome: Outcome | None = None


def noise_mm(live: Mapping[str, int]) -> float:
    """Sigma of one reading of a pot, in mm of its rod."""
    return live["noise_x16"] / 16 * abs(mm_per_raw(live))


def ahead_at_rest(axis: Axis, gang: Gang) -> float:
    """How far the axis is ahead of the other, by a fresh sample of each."""
    board = axis.board
    board.axis(3 - axis.number).sample()
    axis.sample()
    ahead = gang.ahead_mm(axis.number, board.last_axis)
    return 0.0 if ahead is None else ahead


def run(axis: Axis, gang: Gang) -> Levelled:
    """At creep towards level, then slower and slower, until the noise hides the difference."""
    board = axis.board
    live, beside = axis.settings(), board.read_scope(3 - axis.number)
    longer = max(gang.strokes_mm) * 1000
    noise = sum(noise_mm(each) * longer / each["stroke_um"] for each in (live, beside))
    near_mm = max(LEAST_MM, NOISE * noise)
    speed = live["creep_speed_um_s"] / 1000
    for _ in range(TRIES):
        ahead = ahead_at_rest(axis, gang)
        if abs(ahead) <= near_mm:
            return Levelled(ahead, True)
        outcome = _nearer(axis, gang, speed, ahead, near_mm)
        if outcome.ended != Ended.STOPPED:
            return Levelled(ahead_at_rest(axis, gang), False, outcome)
        speed = max(speed * SLOWER, 0.1)
    ahead = ahead_at_rest(axis, gang)
    return Levelled(ahead, abs(ahead) <= near_mm)


def _nearer(axis: Axis, gang: Gang, speed: float, ahead: float, near_mm: float) -> Outcome:
    way = -1.0 if ahead > 0 else 1.0
    own = axis.settings()["stroke_um"] / 1000 / max(gang.strokes_mm)
    early = speed * SEEN_LATE_S / own + near_mm / 2

    def there(_sample: object) -> bool:
        now = gang.ahead_mm(axis.number, axis.board.last_axis)
        return now is not None and now * way >= -early

    with axis.level(way * speed) as motion:
        return motion.wait(until=there) or motion.stop()
