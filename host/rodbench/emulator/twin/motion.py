"""A calibrated axis on its way to a point, and the soft-stop guard. Sibling of motion.c."""

from __future__ import annotations

from typing import Any

from rodbench.emulator.twin.div import div_toward_zero, div_up

MOTION_GOING = 0
MOTION_ARRIVED = 1
MOTION_HELD = 2
MOTION_RAMPED_DOWN = 3

TICKS_PER_S = 200
GAIN_PER_S = 5
TIME_BITS = 12
TIME_ONE_TICK = 20
TIME_MAX = 4000
RAMP_TICKS_MAX = 8000
HELD_FIRM = 24
BOOST_MAX = 400


class Motion:
    """motion_t."""

    __slots__ = (
        "boost",
        "carry_time",
        "direction",
        "down",
        "full",
        "guard_time",
        "held",
        "ramp_down",
        "reference",
        "speed",
        "speed_limit",
        "stop_um",
        "target_um",
        "up",
        "zone_um",
    )

    def __init__(self) -> None:
        self.reference = self.speed = self.speed_limit = self.target_um = self.stop_um = 0
        self.full = self.zone_um = self.up = self.down = self.boost = 0
        self.guard_time = self.carry_time = self.direction = self.ramp_down = self.held = 0


class MotionIn:
    """motion_in_t."""

    __slots__ = ("count_um", "creep", "supply_mv", "supply_nominal_mv", "um", "um_s")

    def __init__(self) -> None:
        self.um = self.um_s = self.count_um = 0
        self.supply_mv = self.supply_nominal_mv = self.creep = 0


def _dead_zone(settings: Any, direction: int) -> int:
    if direction < 0:
        return settings.dead_zone_retract_permille  # type: ignore[no-any-return]
    return settings.dead_zone_extend_permille  # type: ignore[no-any-return]


def motion_full_speed(settings: Any, direction: int) -> int:
    """um/s at full output, measured or guessed from creep."""
    full: int = settings.full_speed_extend_um_s
    if direction < 0:
        full = settings.full_speed_retract_um_s
    if full <= 0:
        over = max(settings.creep_output_permille - _dead_zone(settings, direction), 20)
        full = settings.creep_speed_um_s * 1000 // over
    return max(full, 100)


def motion_tolerance(settings: Any) -> int:
    """How near to its target a move must rest, um."""
    hundredth: int = settings.stroke_um // 100
    return max(1000, hundredth)


def _step_per_tick(um_s2: int) -> int:
    return um_s2 * 32 // 25


def motion_ramp_ticks(settings: Any, um_s: int) -> int:
    """Ticks to come down from that speed."""
    return div_up(um_s * TICKS_PER_S, settings.deceleration_um_s2)


def _run_on_time(run_on_um: int, full: int) -> int:
    return min((run_on_um << TIME_BITS) // full, TIME_MAX // 2)


def _take_direction(motion: Motion, settings: Any, view: MotionIn, direction: int) -> None:
    motion.direction = direction
    motion.full = motion_full_speed(settings, direction)
    motion.stop_um = -settings.soft_stop_min_um if direction < 0 else settings.soft_stop_max_um
    motion.zone_um = view.count_um + view.count_um * settings.noise_x16 // 8
    run_on = settings.run_on_retract_um if direction < 0 else settings.run_on_extend_um
    run_on = _run_on_time(run_on, motion.full)
    motion.guard_time = TIME_ONE_TICK * 3 // 2 + run_on * 5 // 4
    motion.carry_time = TIME_ONE_TICK + run_on


def _within_stop(motion: Motion, view: MotionIn, target_um: int) -> int:
    direction = motion.direction
    return direction * min(direction * target_um, motion.stop_um - view.count_um)


def motion_begin(
    motion: Motion, settings: Any, view: MotionIn, target_um: int, speed_limit: int
) -> None:
    """From rest towards target_um."""
    motion.__init__()  # type: ignore[misc]
    _take_direction(motion, settings, view, -1 if target_um < view.um else 1)
    motion.up = _step_per_tick(settings.acceleration_um_s2)
    motion.down = _step_per_tick(settings.deceleration_um_s2)
    motion.reference = view.um * TICKS_PER_S
    motion.target_um = _within_stop(motion, view, target_um)
    motion.speed_limit = speed_limit


def motion_begin_run(motion: Motion, settings: Any, view: MotionIn, direction: int) -> None:
    """The guard alone, with the worst run-on known at any speed."""
    motion.__init__()  # type: ignore[misc]
    _take_direction(motion, settings, view, direction)
    worst = max(settings.run_on_extend_um, settings.run_on_retract_um)
    motion.zone_um += worst * 5 // 4
    motion.guard_time = TIME_ONE_TICK * 3 // 2


def _fits(motion: Motion, speed: int, left: int) -> bool:
    ticks = speed // motion.down + 1
    if ticks > RAMP_TICKS_MAX:
        return False
    return (speed >> 8) * ticks <= left * (2 * TICKS_PER_S)


def motion_change(motion: Motion, view: MotionIn, target_um: int, speed_limit: int) -> bool:
    """Another target or speed under way; False: ramp down first."""
    direction = motion.direction
    target = _within_stop(motion, view, target_um)
    left = direction * target - div_toward_zero(direction * motion.reference, TICKS_PER_S)
    if motion.ramp_down or left < 0 or not _fits(motion, motion.speed, left):
        motion.ramp_down = 1
        return False
    motion.target_um = target
    motion.speed_limit = speed_limit
    return True


def motion_forbids(motion: Motion, view: MotionIn) -> bool:
    """Does the soft stop in this direction forbid to drive on, at this speed?"""
    direction = motion.direction
    speed = direction * view.um_s
    ahead = (speed * motion.guard_time) >> TIME_BITS if speed > 0 else 0
    return direction * view.um + ahead + motion.zone_um >= motion.stop_um


def _arrives(motion: Motion, view: MotionIn) -> bool:
    direction = motion.direction
    speed = direction * view.um_s
    ahead = (speed * motion.carry_time) >> TIME_BITS if speed > 0 else 0
    return direction * view.um + ahead >= direction * motion.target_um


def _trapezoid(motion: Motion, limit: int, floor: int) -> int:
    """Sets the reference's next speed; returns how it changes per tick just now."""
    speed = motion.speed
    if motion.ramp_down:
        motion.speed = max(speed - motion.down, 0)
        return -motion.down
    left = motion.direction * (motion.target_um - div_toward_zero(motion.reference, TICKS_PER_S))
    faster = min(speed + motion.up, limit)
    if speed > limit or not _fits(motion, max(speed, floor), left):
        motion.speed = max(speed - motion.down, min(floor, limit))
        return -motion.down
    if _fits(motion, faster, left):
        motion.speed = faster
        return faster - speed
    return 0


def _advance(motion: Motion, view: MotionIn, lead_max: int) -> int:
    """Moves the reference on, never past the target or too far ahead of the rod; gives the lead."""
    direction = motion.direction
    reference = direction * motion.reference
    lead = div_toward_zero(reference, TICKS_PER_S) - direction * view.um
    if lead < lead_max:
        reference += motion.speed >> 8
        end = direction * motion.target_um * TICKS_PER_S
        if not motion.ramp_down and reference > end:
            reference = end
        motion.reference = direction * reference
    return max(min(lead, lead_max), -lead_max)


def _adapt(motion: Motion, lead: int, lead_max: int) -> None:
    if lead >= lead_max and motion.boost < BOOST_MAX:
        motion.boost += 3
    elif lead < div_toward_zero(lead_max, 2) and motion.boost > 0:
        motion.boost -= 1


def _feed(motion: Motion, settings: Any, view: MotionIn, step: int, lead: int) -> int:
    ticks = (motion.carry_time * TICKS_PER_S) >> TIME_BITS
    soon = max((motion.speed >> 8) + (step >> 8) * ticks, 0)
    soon = min(soon, motion.speed_limit + motion.speed_limit // 4)
    dead = _dead_zone(settings, motion.direction)
    push = soon * (1000 - dead) + lead * (1000 * GAIN_PER_S)
    output = dead + motion.boost + div_toward_zero(push, motion.full)
    measured_at = settings.speed_supply_mv or view.supply_nominal_mv
    supply = max(view.supply_mv, measured_at // 2)
    return div_toward_zero(min(output, 2000) * measured_at, max(supply, 1))


def _hold(motion: Motion, settings: Any, view: MotionIn) -> int:
    motion.speed = min(motion.speed, settings.creep_speed_um_s * 256)
    motion.reference = view.um * TICKS_PER_S
    motion.boost = 0
    if motion.direction * view.um_s <= settings.creep_speed_um_s:
        motion.held += 2
    return MOTION_HELD if motion.held >= HELD_FIRM else MOTION_GOING


def motion_tick(motion: Motion, settings: Any, view: MotionIn) -> tuple[int, int]:
    """Output in permille along the direction, and MOTION_..."""
    creep = settings.creep_speed_um_s
    limit = min(creep, motion.speed_limit) if view.creep else motion.speed_limit
    step = _trapezoid(motion, limit * 256, creep * 256)
    if motion.ramp_down and motion.speed == 0:
        return 0, MOTION_RAMPED_DOWN
    if motion_forbids(motion, view):
        return 0, _hold(motion, settings, view)
    if motion.held > 0:
        motion.held -= 1
    if not motion.ramp_down and _arrives(motion, view):
        return 0, MOTION_ARRIVED
    lead_max = max(limit, creep) // GAIN_PER_S + view.count_um
    lead = _advance(motion, view, lead_max)
    _adapt(motion, lead, lead_max)
    ceiling = settings.creep_output_permille if view.creep else settings.output_max_permille
    output = _feed(motion, settings, view, step, lead)
    return max(min(output, ceiling), 0), MOTION_GOING
