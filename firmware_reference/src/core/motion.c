#include "motion.h"

#include "axis.h"
#include "div.h"
#include "number.h"

#define TICKS_PER_S INT32_C(200)
#define GAIN_PER_S INT32_C(5)       /* output to full for a lead of a fifth of a second at full speed */
#define LEAD_TICKS 40               /* and no more lead than that */
#define TIME_BITS 12
#define TIME_ONE_TICK INT32_C(20)   /* s / 4096 */
#define CARRY_TIME_MAX INT32_C(2000)            /* these two keep a speed times a time within 32 bits */
#define GUARD_TIME_MAX INT32_C(4200)
#define RAMP_TICKS_MAX INT32_C(8000)            /* 40 s: keeps the stopping distance within 32 bits */
#define HELD_FIRM 24
#define BOOST_MAX 400

int16_t motion_dead(const settings_axis_t *set, int8_t direction)
{
    return (int16_t)(direction < 0 ? set->dead_zone_retract_permille : set->dead_zone_extend_permille);
}

int32_t motion_full_speed(const settings_axis_t *set, int8_t direction)
{
    int32_t full = direction < 0 ? set->full_speed_retract_um_s : set->full_speed_extend_um_s;
    if (full <= 0) {
        full = div_toward_zero(set->creep_speed_um_s * 1000, larger((int16_t)set->creep_output_permille - motion_dead(set, direction), 20));
    }
    return larger(full, 100);
}

int32_t motion_tolerance(const settings_axis_t *set)
{
    return larger(1000, div_toward_zero(set->stroke_um, 100));
}

static CORE_ONCE int32_t per_tick(int32_t um_s)
{
    return div_toward_zero(um_s * 8192, 25);        /* 65536 / 200 */
}

static CORE_ONCE int32_t step_per_tick(int32_t um_s2)
{
    return div_toward_zero(um_s2 * 1024, 625);      /* 65536 / 200 / 200 */
}

static void take_direction(motion_t *motion, const settings_axis_t *set, int8_t direction)
{
    memset(motion, 0, sizeof *motion);
    int32_t run_on = set->run_on_extend_um;
    motion->direction = direction;
    motion->stop_um = set->soft_stop_max_um;
    if (direction < 0) {
        run_on = set->run_on_retract_um;
        motion->stop_um = -set->soft_stop_min_um;
    }
    int32_t time = smaller(div_toward_zero(run_on << TIME_BITS, motion_full_speed(set, direction)), GUARD_TIME_MAX);
    motion->carry_time = (uint16_t)(TIME_ONE_TICK + smaller(time, CARRY_TIME_MAX));
    motion->guard_time = (uint16_t)(TIME_ONE_TICK * 3 / 2 + time + halved(time, 2));
}

uint8_t motion_creeps(const motion_in_t *in)
{
    return (in->axis->flags & (AXIS_FLAGS_PROVEN | AXIS_FLAGS_OUTSIDE)) != AXIS_FLAGS_PROVEN;
}

static CORE_ONCE int32_t count_um(const motion_in_t *in)
{
    return position_count_um(&in->axis->position);
}

static void take_target(motion_t *motion, const motion_in_t *in, int32_t target_um, int32_t limit_um_s)
{
    int32_t most = motion->stop_um - count_um(in);
    motion->target = smaller(along(target_um, motion->direction), most) * 256;
    motion->limit = per_tick(limit_um_s);
}

static CORE_ONCE int32_t um_along(const motion_t *motion, const motion_in_t *in)
{
    return along(in->axis->position_um, motion->direction);
}

static CORE_ONCE int32_t um_s_along(const motion_t *motion, const motion_in_t *in)
{
    return along(in->axis->speed_um_s, motion->direction);
}

void motion_begin(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t target_um,
                  int32_t limit_um_s)
{
    take_direction(motion, set, target_um < in->axis->position_um ? -1 : 1);
    motion->up = step_per_tick(set->acceleration_um_s2);
    motion->down = step_per_tick(set->deceleration_um_s2);
    motion->creep = per_tick(set->creep_speed_um_s);
    motion->reference = um_along(motion, in) * 256;
    take_target(motion, in, target_um, limit_um_s);
}

void motion_begin_run(motion_t *motion, const settings_axis_t *set, int8_t direction)
{
    take_direction(motion, set, direction);
    int32_t worst = larger(set->run_on_extend_um, set->run_on_retract_um);
    motion->stop_um -= worst + worst / 4;
    motion->guard_time = TIME_ONE_TICK * 3 / 2;
}

/* Would the reference, at this speed, still stop before its target? */
static uint8_t fits(const motion_t *motion, int32_t speed)
{
    int32_t ticks = div_toward_zero(speed, motion->down) + 1;
    return ticks <= RAMP_TICKS_MAX && (whole(speed) * ticks) >> 1 <= motion->target - motion->reference;
}

uint8_t motion_change(motion_t *motion, const motion_in_t *in, int32_t target_um, int32_t limit_um_s)
{
    int32_t target = motion->target;
    int32_t limit = motion->limit;
    take_target(motion, in, target_um, limit_um_s);
    if (fits(motion, motion->speed)) {
        return 1;
    }
    motion->target = target;
    motion->limit = limit;
    return 0;
}

/* Where the rod would be after `time` at a speed, along. */
static int32_t ahead(const motion_t *motion, const motion_in_t *in, int32_t um_s, uint16_t time)
{
    return um_along(motion, in) + halved(whole(larger(um_s, 0) * time), TIME_BITS - 8);
}

/* By the reference too: the speed is seen late, and a start just before the stop is over by then. */
uint8_t motion_forbids(const motion_t *motion, const motion_in_t *in)
{
    int32_t meant = whole(whole(motion->speed) * TICKS_PER_S);
    int32_t um_s = larger(um_s_along(motion, in), meant);
    return ahead(motion, in, um_s, motion->guard_time) + count_um(in) + in->axis->position.noise_um >= motion->stop_um;
}

/* The reference's next speed; returns how it changes per tick just now. */
static int32_t trapezoid(motion_t *motion, int32_t limit)
{
    int32_t speed = motion->speed;
    int32_t lowest = 0;
    if (!motion->ramp_down) {
        int32_t faster = smaller(speed + motion->up, limit);
        lowest = smaller(motion->creep, limit);
        if (speed <= limit && fits(motion, larger(speed, motion->creep))) {
            if (faster != speed && fits(motion, faster)) {
                motion->speed = faster;
            }
            return motion->speed - speed;
        }
    }
    motion->speed = larger(speed - motion->down, lowest);
    return -motion->down;
}

/* A speed, um per tick with 8 fraction bits, of a reference that may be made to wait. */
static int32_t paced(const motion_in_t *in, int32_t speed)
{
    return whole(speed * (256 - in->axis->wait));
}

/* Moves the reference on, never past the target and never further ahead of the rod than lead_max. Gives the lead.
 * Ground that it loses by waiting counts as behind, until the rod has come within half of lead_max. */
static CORE_ONCE int32_t advance(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t lead_max)
{
    int32_t lead = whole(motion->reference) - um_along(motion, in);
    int32_t step = paced(in, whole(motion->speed));
    if (lead < lead_max) {
        step += motion->reference;
        motion->reference = motion->ramp_down ? step : smaller(step, motion->target);
    } else {
        motion->lost_um = at_most_u16(motion->lost_um + whole(step));
    }
    if (lead < (lead_max >> 1)) {
        motion->lost_um = 0;
    }
    if (lead + motion->lost_um <= (int32_t)set->following_um) {
        motion->behind = 0;
    } else if (motion->behind < MOTION_BEHIND) {
        motion->behind++;
    }
    return between(lead, -lead_max, lead_max);
}

/* A rod that cannot keep up although the lead is at its limit carries more than it did when it was measured; so does
 * one that stands still short of its target. */
static void adapt(motion_t *motion, int32_t lead, int32_t lead_max)
{
    if ((lead >= lead_max || motion->reference == motion->target) && motion->boost < BOOST_MAX) {
        motion->boost = (int16_t)(motion->boost + 2);
    } else if (lead < (lead_max >> 1) && motion->boost > 0) {
        motion->boost--;
    }
}

/* Output for the speed that the reference will have by the time the motor has answered, and for the lead. */
static int32_t feed(const motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t step, int32_t lead)
{
    int32_t ticks = halved(whole(motion->carry_time * TICKS_PER_S), TIME_BITS - 8);
    int32_t soon = whole(between(motion->speed + step * ticks, 0, motion->limit + halved(motion->limit, 2)));
    int32_t um_s = whole(paced(in, soon) * TICKS_PER_S);
    int16_t dead = motion_dead(set, motion->direction);
    int32_t push = um_s * (1000 - dead) + lead * (1000 * GAIN_PER_S);
    int32_t output = dead + motion->boost + div_toward_zero(push, motion_full_speed(set, motion->direction));
    int32_t measured_at = set->speed_supply_mv != 0 ? set->speed_supply_mv : in->in->supply_nominal_mv;
    return div_toward_zero(between(output, 0, 2000) * measured_at, larger(in->in->supply_mv, (measured_at >> 1) + 1));
}

static uint8_t hold(motion_t *motion, const settings_axis_t *set, const motion_in_t *in)
{
    motion->speed = smaller(motion->speed, motion->creep);
    motion->reference = um_along(motion, in) * 256;
    motion->boost = 0;
    if (um_s_along(motion, in) <= set->creep_speed_um_s) {
        motion->held = (uint8_t)(motion->held + 2);
    }
    return motion->held >= HELD_FIRM ? MOTION_HELD : MOTION_GOING;
}

int16_t motion_tick(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, uint8_t *said)
{
    int32_t limit = motion_creeps(in) ? smaller(motion->creep, motion->limit) : motion->limit;
    int32_t step = trapezoid(motion, limit);
    *said = MOTION_RAMPED_DOWN;
    if (motion->ramp_down && motion->speed == 0) {
        return 0;
    }
    if (motion_forbids(motion, in)) {
        *said = hold(motion, set, in);
        return 0;
    }
    if (motion->held > 0) {
        motion->held--;
    }
    *said = MOTION_ARRIVED;
    if (!motion->ramp_down &&
        ahead(motion, in, um_s_along(motion, in), motion->carry_time) >= whole(motion->target)) {
        return 0;
    }
    *said = MOTION_GOING;
    int32_t lead_max = whole(whole(larger(limit, motion->creep)) * LEAD_TICKS) + count_um(in);
    int32_t lead = advance(motion, set, in, lead_max);
    adapt(motion, lead, lead_max);
    int32_t ceiling = motion_creeps(in) ? set->creep_output_permille : set->output_max_permille;
    return (int16_t)between(feed(motion, set, in, step, lead), 0, ceiling);
}
