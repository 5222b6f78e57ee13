#include "motion.h"

#include "div.h"

#define TICKS_PER_S INT32_C(200)
#define GAIN_PER_S INT32_C(5)               /* output to full for a lead of a fifth of a second at full speed */
#define TIME_BITS 12
#define TIME_ONE_TICK INT32_C(20)           /* s / 4096 */
#define TIME_MAX INT32_C(4000)
#define RAMP_TICKS_MAX INT32_C(8000)        /* 40 s: keeps the stopping distance within 32 bits */
#define HELD_FIRM 24
#define BOOST_MAX 400

static int32_t along(const motion_t *motion, int32_t value)
{
    return motion->direction < 0 ? -value : value;
}

static int32_t smaller(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static int32_t larger(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static int32_t dead_zone(const settings_axis_t *set, int8_t direction)
{
    return direction < 0 ? set->dead_zone_retract_permille : set->dead_zone_extend_permille;
}

int32_t motion_full_speed(const settings_axis_t *set, int8_t direction)
{
    int32_t full = direction < 0 ? set->full_speed_retract_um_s : set->full_speed_extend_um_s;
    if (full > 0) {
        return larger(full, 100);
    }
    int32_t dead = dead_zone(set, direction);
    int32_t over = larger(set->creep_output_permille - dead, 20);
    return larger(div_toward_zero(set->creep_speed_um_s * 1000, over), 100);
}

int32_t motion_tolerance(const settings_axis_t *set)
{
    return larger(1000, div_toward_zero(set->stroke_um, 100));
}

static int32_t step_per_tick(int32_t um_s2)
{
    return div_toward_zero(um_s2 * 32, 25);         /* um/s with 8 fraction bits */
}

uint32_t motion_ramp_ticks(const settings_axis_t *set, int32_t um_s)
{
    return div_up((uint32_t)um_s * TICKS_PER_S, (uint32_t)set->deceleration_um_s2);
}

/* um after the cut at full speed and full speed to s / 4096. */
static int32_t run_on_time(int32_t run_on_um, int32_t full)
{
    return smaller(div_toward_zero(run_on_um * (INT32_C(1) << TIME_BITS), full), TIME_MAX / 2);
}

static void take_direction(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int8_t direction)
{
    motion->direction = direction;
    motion->full = motion_full_speed(set, direction);
    motion->stop_um = direction < 0 ? -set->soft_stop_min_um : set->soft_stop_max_um;
    motion->zone_um = in->count_um + div_toward_zero(in->count_um * (int32_t)set->noise_x16, 8);
    int32_t run_on = run_on_time(direction < 0 ? set->run_on_retract_um : set->run_on_extend_um, motion->full);
    motion->guard_time = (uint16_t)(TIME_ONE_TICK * 3 / 2 + run_on * 5 / 4);
    motion->carry_time = (uint16_t)(TIME_ONE_TICK + run_on);
}

static int32_t within_stop(const motion_t *motion, const motion_in_t *in, int32_t target_um)
{
    return along(motion, smaller(along(motion, target_um), motion->stop_um - in->count_um));
}

void motion_begin(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t target_um,
                  int32_t speed_limit)
{
    memset(motion, 0, sizeof *motion);
    take_direction(motion, set, in, target_um < in->um ? -1 : 1);
    motion->up = step_per_tick(set->acceleration_um_s2);
    motion->down = step_per_tick(set->deceleration_um_s2);
    motion->reference = in->um * TICKS_PER_S;
    motion->target_um = within_stop(motion, in, target_um);
    motion->speed_limit = speed_limit;
}

void motion_begin_run(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int8_t direction)
{
    memset(motion, 0, sizeof *motion);
    take_direction(motion, set, in, direction);
    int32_t worst = larger(set->run_on_extend_um, set->run_on_retract_um);
    motion->zone_um += div_toward_zero(worst * 5, 4);
    motion->guard_time = TIME_ONE_TICK * 3 / 2;
}

/* Would the reference, at this speed, still stop within `left` um? */
static uint8_t fits(const motion_t *motion, int32_t speed, int32_t left)
{
    int32_t ticks = div_toward_zero(speed, motion->down) + 1;
    if (ticks > RAMP_TICKS_MAX) {
        return 0;
    }
    return (speed >> 8) * ticks <= left * (2 * TICKS_PER_S);
}

static int32_t left_um(const motion_t *motion)
{
    return along(motion, motion->target_um - div_toward_zero(motion->reference, TICKS_PER_S));
}

uint8_t motion_change(motion_t *motion, const motion_in_t *in, int32_t target_um, int32_t speed_limit)
{
    int32_t target = within_stop(motion, in, target_um);
    int32_t left = along(motion, target) - div_toward_zero(along(motion, motion->reference), TICKS_PER_S);
    if (motion->ramp_down || left < 0 || !fits(motion, motion->speed, left)) {
        motion->ramp_down = 1;
        return 0;
    }
    motion->target_um = target;
    motion->speed_limit = speed_limit;
    return 1;
}

uint8_t motion_forbids(const motion_t *motion, const motion_in_t *in)
{
    int32_t speed = larger(along(motion, in->um_s), 0);
    int32_t ahead = (speed * motion->guard_time) >> TIME_BITS;
    return along(motion, in->um) + ahead + motion->zone_um >= motion->stop_um;
}

static uint8_t arrives(const motion_t *motion, const motion_in_t *in)
{
    int32_t speed = larger(along(motion, in->um_s), 0);
    int32_t ahead = (speed * motion->carry_time) >> TIME_BITS;
    return along(motion, in->um) + ahead >= along(motion, motion->target_um);
}

/* The reference's next speed; *step is how it changes per tick just now. */
static void trapezoid(motion_t *motion, int32_t limit, int32_t floor, int32_t *step)
{
    int32_t left = left_um(motion);
    int32_t speed = motion->speed;
    *step = 0;
    if (motion->ramp_down) {
        motion->speed = larger(speed - motion->down, 0);
        *step = -motion->down;
        return;
    }
    int32_t faster = smaller(speed + motion->up, limit);
    if (speed > limit || !fits(motion, larger(speed, floor), left)) {
        motion->speed = larger(speed - motion->down, smaller(floor, limit));
        *step = -motion->down;
    } else if (fits(motion, faster, left)) {
        *step = faster - speed;
        motion->speed = faster;
    }
}

/* Moves the reference on, never past the target and never further ahead of the rod than lead_max. */
static int32_t advance(motion_t *motion, const motion_in_t *in, int32_t lead_max)
{
    int32_t reference = along(motion, motion->reference);
    int32_t lead = div_toward_zero(reference, TICKS_PER_S) - along(motion, in->um);
    if (lead < lead_max) {
        reference += motion->speed >> 8;
        int32_t end = along(motion, motion->target_um) * TICKS_PER_S;
        if (!motion->ramp_down && reference > end) {
            reference = end;
        }
        motion->reference = along(motion, reference);
    }
    return larger(smaller(lead, lead_max), -lead_max);
}

/* A rod that cannot keep up although the lead is at its limit carries more than it did when it was measured. */
static void adapt(motion_t *motion, int32_t lead, int32_t lead_max)
{
    if (lead >= lead_max && motion->boost < BOOST_MAX) {
        motion->boost = (int16_t)(motion->boost + 3);
    } else if (lead < lead_max / 2 && motion->boost > 0) {
        motion->boost = (int16_t)(motion->boost - 1);
    }
}

static int32_t feed(const motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t step, int32_t lead)
{
    int32_t ticks = (motion->carry_time * TICKS_PER_S) >> TIME_BITS;
    int32_t soon = larger((motion->speed >> 8) + ((step >> 8) * ticks), 0);
    soon = smaller(soon, motion->speed_limit + motion->speed_limit / 4);
    int32_t dead = dead_zone(set, motion->direction);
    int32_t output = dead + motion->boost +
                     div_toward_zero(soon * (1000 - dead) + lead * (1000 * GAIN_PER_S), motion->full);
    int32_t measured_at = set->speed_supply_mv != 0 ? set->speed_supply_mv : in->supply_nominal_mv;
    int32_t supply = larger(in->supply_mv, measured_at / 2);
    return div_toward_zero(smaller(output, 2000) * measured_at, larger(supply, 1));
}

static uint8_t hold(motion_t *motion, const settings_axis_t *set, const motion_in_t *in)
{
    motion->speed = smaller(motion->speed, set->creep_speed_um_s * 256);
    motion->reference = in->um * TICKS_PER_S;
    motion->boost = 0;
    if (along(motion, in->um_s) <= set->creep_speed_um_s) {
        motion->held = (uint8_t)(motion->held + 2);
    }
    return motion->held >= HELD_FIRM ? MOTION_HELD : MOTION_GOING;
}

int16_t motion_tick(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, uint8_t *said)
{
    int32_t creep = set->creep_speed_um_s;
    int32_t limit = in->creep ? smaller(creep, motion->speed_limit) : motion->speed_limit;
    int32_t step;
    *said = MOTION_GOING;
    trapezoid(motion, limit * 256, creep * 256, &step);
    if (motion->ramp_down && motion->speed == 0) {
        *said = MOTION_RAMPED_DOWN;
        return 0;
    }
    if (motion_forbids(motion, in)) {
        *said = hold(motion, set, in);
        return 0;
    }
    if (motion->held > 0) {
        motion->held--;
    }
    if (!motion->ramp_down && arrives(motion, in)) {
        *said = MOTION_ARRIVED;
        return 0;
    }
    int32_t lead_max = div_toward_zero(larger(limit, creep), GAIN_PER_S) + in->count_um;
    int32_t lead = advance(motion, in, lead_max);
    adapt(motion, lead, lead_max);
    int32_t ceiling = in->creep ? set->creep_output_permille : set->output_max_permille;
    int32_t output = feed(motion, set, in, step, lead);
    return (int16_t)larger(smaller(output, ceiling), 0);
}
