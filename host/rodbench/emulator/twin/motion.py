"""A calibrated axis on its way to a point, and the soft-stop guard. Sibling of motion.c."""

from __future__ import annotations

from typing import Any

from rodbench.emulator.twin.div import div_toward_zero
from rodbench.emulator.twin.number import between

MOTION_GOING = 0
MOTION_ARRIVED = 1
MOTION_HELD = 2
MOTION_RAMPED_DOWN = 3
MOTION_BEHIND = 50
MOTION_FAR = 4000000

TICKS_PER_S = 200
GAIN_PER_S = 5
LEAD_TICKS = 40
TIME_BITS = 12
TIME_ONE_TICK = 20
CARRY_TIME_MAX = 2000
GUARD_TIME_MAX = 4200
RAMP_TICKS_MAX = 8000
HELD_FIRM = 24
BOOST_MAX = 400


class Motion:
    """motion_t."""

    __slots__ = (
        "behind",
        "boost",
        "carry_time",
        "creep",
        "direction",
        "down",
        "guard_time",
        "held",
        "limit",
        "lost_um",
        "ramp_down",
        "reference",
        "speed",
        "stop_um",
        "target",
        "up",
    )

    def __init__(self) -> None:
        self.reference = self.target = self.speed = self.limit = self.creep = 0
        self.up = self.down = self.stop_um = self.boost = 0
        self.lost_um = self.behind = 0
        self.guard_time = self.carry_time = self.direction = self.ramp_down = self.held = 0


class MotionIn:
    """motion_in_t, with what it points to in C."""

    __slots__ = (
        "count_um",
        "creep",
        "noise_um",
        "supply_mv",
        "supply_nominal_mv",
        "um",
        "um_s",
        "wait",
    )

    def __init__(self) -> None:
        self.um = self.um_s = self.count_um = self.noise_um = 0
        self.supply_mv = self.supply_nominal_mv = self.creep = self.wait = 0


def motion_dead(settings: Any, direction: int) -> int:
    """Permille: least output that moves the rod this way."""
    return int(
        settings.dead_zone_retract_permille if direction < 0 else settings.dead_zone_extend_permille
    )


def motion_full_speed(settings: Any, direction: int) -> int:
    """um/s at full output, measured or guessed from creep."""
    full: int = settings.full_speed_extend_um_s
    if direction < 0:
        full = settings.full_speed_retract_um_s
    if full <= 0:
        over = max(settings.creep_output_permille - motion_dead(settings, direction), 20)
        full = settings.creep_speed_um_s * 1000 // over
    return max(full, 100)


def motion_tolerance(settings: Any) -> int:
    """How near to its target a move must rest, um."""
    hundredth: int = settings.stroke_um // 100
    return max(1000, hundredth)


def _per_tick(um_s: int) -> int:
    return um_s * 8192 // 25


def _step_per_tick(um_s2: int) -> int:
    return um_s2 * 1024 // 625


def _take_direction(motion: Motion, settings: Any, direction: int) -> None:
    motion.__init__()  # type: ignore[misc]
    run_on = settings.run_on_extend_um
    motion.direction = direction
    motion.stop_um = settings.soft_stop_max_um
    if direction < 0:
        run_on = settings.run_on_retract_um
        motion.stop_um = -settings.soft_stop_min_um
    time = min((run_on << TIME_BITS) // motion_full_speed(settings, direction), GUARD_TIME_MAX)
    motion.carry_time = TIME_ONE_TICK + min(time, CARRY_TIME_MAX)
    motion.guard_time = TIME_ONE_TICK * 3 // 2 + time + (time >> 2)


def _take_target(motion: Motion, view: MotionIn, target_um: int, limit_um_s: int) -> None:
    most = motion.stop_um - view.count_um
    motion.target = min(target_um * motion.direction, most) * 256
    motion.limit = _per_tick(limit_um_s)


def motion_begin(
    motion: Motion, settings: Any, view: MotionIn, target_um: int, limit_um_s: int
) -> None:
    """From rest towards target_um, which the soft stop cuts short."""
    _take_direction(motion, settings, -1 if target_um < view.um else 1)
    motion.up = _step_per_tick(settings.acceleration_um_s2)
    motion.down = _step_per_tick(settings.deceleration_um_s2)
    motion.creep = _per_tick(settings.creep_speed_um_s)
    motion.reference = view.um * motion.direction * 256
    _take_target(motion, view, target_um, limit_um_s)


def motion_begin_run(motion: Motion, settings: Any, direction: int) -> None:
    """The guard alone, with the worst run-on known at any speed."""
    _take_direction(motion, settings, direction)
    worst = max(settings.run_on_extend_um, settings.run_on_retract_um)
    motion.stop_um -= worst + worst // 4
    motion.guard_time = TIME_ONE_TICK * 3 // 2


def _fits(motion: Motion, speed: int) -> bool:
    ticks = speed // motion.down + 1
    way = ((speed >> 8) * ticks) >> 1
    return ticks <= RAMP_TICKS_MAX and way <= motion.target - motion.reference


def motion_change(motion: Motion, view: MotionIn, target_um: int, limit_um_s: int) -> bool:
    """Another target or speed under way: at once where the ramps allow; False: ramp down first."""
    target, limit = motion.target, motion.limit
    _take_target(motion, view, target_um, limit_um_s)
    if _fits(motion, motion.speed):
        return True
    motion.target = target
    motion.limit = limit
    return False


def _ahead(motion: Motion, view: MotionIn, um_s: int, time: int) -> int:
    there = view.um * motion.direction
    return there + ((um_s * time) >> TIME_BITS if um_s > 0 else 0)


def motion_forbids(motion: Motion, view: MotionIn) -> bool:
    """Does the soft stop in this direction forbid to drive on, at this speed?

    By the reference too: the speed is seen late, and a start just before the stop is over by then.
    """
    meant = ((motion.speed >> 8) * TICKS_PER_S) >> 8
    um_s = max(view.um_s * motion.direction, meant)
    there = _ahead(motion, view, um_s, motion.guard_time)
    return there + view.count_um + view.noise_um >= motion.stop_um


def _trapezoid(motion: Motion, limit: int) -> int:
    speed = motion.speed
    lowest = 0
    if not motion.ramp_down:
        faster = min(speed + motion.up, limit)
        lowest = min(motion.creep, limit)
        if speed <= limit and _fits(motion, max(speed, motion.creep)):
            if faster != speed and _fits(motion, faster):
                motion.speed = faster
            return motion.speed - speed
    motion.speed = max(speed - motion.down, lowest)
    return -motion.down


def _paced(view: MotionIn, speed: int) -> int:
    return (speed * (256 - view.wait)) >> 8


def _advance(motion: Motion, settings: Any, view: MotionIn, lead_max: int) -> int:
    lead = (motion.reference >> 8) - view.um * motion.direction
    step = _paced(view, motion.speed >> 8)
    if lead < lead_max:
        step += motion.reference
        motion.reference = step if motion.ramp_down else min(step, motion.target)
    else:
        motion.lost_um = min(motion.lost_um + (step >> 8), 0xFFFF)
    if lead < lead_max >> 1:
        motion.lost_um = 0
    if lead + motion.lost_um <= settings.following_um:
        motion.behind = 0
    elif motion.behind < MOTION_BEHIND:
        motion.behind += 1
    return between(lead, -lead_max, lead_max)


def _adapt(motion: Motion, lead: int, lead_max: int) -> None:
    short = lead >= lead_max or motion.reference == motion.target
    if short and motion.boost < BOOST_MAX:
        motion.boost += 2
    elif lead < lead_max >> 1 and motion.boost > 0:
        motion.boost -= 1


def _feed(motion: Motion, settings: Any, view: MotionIn, step: int, lead: int) -> int:
    ticks = (motion.carry_time * TICKS_PER_S) >> TIME_BITS
    soon = between(motion.speed + step * ticks, 0, motion.limit + (motion.limit >> 2)) >> 8
    um_s = (_paced(view, soon) * TICKS_PER_S) >> 8
    dead = motion_dead(settings, motion.direction)
    full = motion_full_speed(settings, motion.direction)
    push = um_s * (1000 - dead) + lead * (1000 * GAIN_PER_S)
    output = dead + motion.boost + div_toward_zero(push, full)
    measured_at = settings.speed_supply_mv or view.supply_nominal_mv
    supply = max(view.supply_mv, (measured_at >> 1) + 1)
    return div_toward_zero(between(output, 0, 2000) * measured_at, supply)


def _hold(motion: Motion, settings: Any, view: MotionIn) -> int:
    motion.speed = min(motion.speed, motion.creep)
    motion.reference = view.um * motion.direction * 256
    motion.boost = 0
    if view.um_s * motion.direction <= settings.creep_speed_um_s:
        motion.held += 2
    return MOTION_HELD if motion.held >= HELD_FIRM else MOTION_GOING


def motion_tick(motion: Motion, settings: Any, view: MotionIn) -> tuple[int, int]:
    """Output in permille along the direction, and MOTION_..."""
    limit = min(motion.creep, motion.limit) if view.creep else motion.limit
    step = _trapezoid(motion, limit)
    if motion.ramp_down and motion.speed == 0:
        return 0, MOTION_RAMPED_DOWN
    if motion_forbids(motion, view):
        return 0, _hold(motion, settings, view)
    if motion.held > 0:
        motion.held -= 1
    um_s = view.um_s * motion.direction
    if not motion.ramp_down and _ahead(motion, view, um_s, motion.carry_time) >= motion.target >> 8:
        return 0, MOTION_ARRIVED
    lead_max = (((max(limit, motion.creep) >> 8) * LEAD_TICKS) >> 8) + view.count_um
    lead = _advance(motion, settings, view, lead_max)
    _adapt(motion, lead, lead_max)
    ceiling = settings.creep_output_permille if view.creep else settings.output_max_permille
    return between(_feed(motion, settings, view, step, lead), 0, ceiling), MOTION_GOING
