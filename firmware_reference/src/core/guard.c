#include "guard.h"

#include "axis.h"
#include "div.h"
#include "number.h"

#define BAND_TICKS 5                /* 25 ms: an open wiper takes that long to fall */
#define BAND_TICKS_AT_END 200       /* 1 s: a rod of unknown ends may start at one, and leaves it in that time */
#define TICK_MS 5
#define UNKNOWN_TRAVEL 13           /* of a block, for a rod of unknown speed: 0.05 raw a tick */
#define START_TICKS 80              /* ramp and inrush */
#define CURRENT_TRAVEL INT32_C(1000000)     /* without a pot: the current tells at once */
#define STILL_EXTRA 40              /* ticks: two blocks and the start of the motor */
#define SETTLE_TICKS 200            /* 1 s of rest before a rod must not move */

void guard_begin(guard_t *guard)
{
    uint8_t band_ticks = guard->band_ticks;
    memset(guard, 0, sizeof *guard);
    guard->band_ticks = band_ticks;
}

/* What a reading tells of the pot; 0: nothing is wrong. */
static uint8_t out_of_band(const settings_axis_t *set, int16_t raw)
{
    int16_t margin = (int16_t)set->pot_margin_raw;
    int16_t low = (int16_t)set->raw_retracted;
    int16_t high = (int16_t)set->raw_extended;
    int16_t edge = margin / 2;      /* an open or shorted pot shows whatever the endpoints */
    if (raw < edge) {
        return FAULT_POT_OPEN;
    }
    if (raw > (int16_t)CORE_FULL_SCALE - edge) {
        return FAULT_POT_SHORT;
    }
    if (low > high) {
        int16_t swap = low;
        low = high;
        high = swap;
    }
    return set->calibrated && (raw < low - margin || raw > high + margin) ? FAULT_POT_BAND : 0;
}

/* Uncalibrated, what the pot may read at the ends is unknown: only driving counts, and not yet while it has read so
 * since the motion began. */
uint8_t guard_pot_band(guard_t *guard, const settings_axis_t *set, uint16_t raw, uint8_t driving)
{
    uint8_t fault = out_of_band(set, (int16_t)raw);
    if (fault == 0) {
        guard->was_inside |= driving;
        guard->band_ticks = 0;
    } else if (!set->calibrated && !driving) {
        guard->band_ticks = 0;
    } else if (guard->band_ticks < BAND_TICKS_AT_END) {
        guard->band_ticks++;
    }
    uint8_t most = set->calibrated || guard->was_inside ? BAND_TICKS : BAND_TICKS_AT_END;
    return guard->band_ticks >= most ? fault : 0;
}

/* What noise and a pot's play may show of a rod that stands, um. */
static int32_t unmoved(const position_t *position)
{
    return larger(1000, position->noise_um * 4 + position_count_um(position));
}

uint8_t guard_moving_off(guard_t *guard, const position_t *position, int32_t um)
{
    if (guard->start_ticks < SETTLE_TICKS) {
        guard->start_ticks++;
        guard->furthest_um = um;
    }
    return absolute(um - guard->furthest_um) > unmoved(position);
}

uint8_t guard_over_current(guard_t *guard, const settings_axis_t *set, int16_t current_ma)
{
    if (current_ma <= (int16_t)set->trip_ma) {
        guard->over_ticks = 0;
        return 0;
    }
    guard->over_ticks = (uint16_t)(guard->over_ticks + TICK_MS);
    return guard->over_ticks >= set->trip_ms ? FAULT_OVER_CURRENT : 0;
}

static uint8_t cause_without_motion(const guard_t *guard, const settings_axis_t *set, const axis_t *axis)
{
    int16_t mean = (int16_t)halved(guard->current_mean, 4);
    uint16_t step = (uint16_t)smaller(halved((int32_t)axis->current_scale, 9), 32767);
    uint16_t running = set->running_ma;
    uint16_t high = running != 0 ? (uint16_t)(running + running / 5) : set->trip_ma / 2;
    if (set->current_sensor == CURRENT_SENSOR_NONE || (axis->also & AXIS_ALSO_FOLDED_BACK)) {
        return FAULT_STALL;
    }
    if (set->feedback == FEEDBACK_NONE) {
        /* Loads differ from way to way and place to place: its own running tells, and the larger way's as a ceiling. */
        uint16_t most = (uint16_t)(running * 2u);
        running = guard->own_ma;
        high = (uint16_t)(running + running / 4 + step);
        high = most != 0 && most < high ? most : high;
    }
    if (mean < 0 || (uint16_t)mean < running / 4 || (uint16_t)mean < step * 2u) {
        return FAULT_NO_CURRENT;
    }
    return (uint16_t)mean >= high ? FAULT_STALL : FAULT_POT_NOT_FOLLOWING;
}

/* What a running motor draws: at first what it draws as it gets going, then that followed by a third a second at most,
 * as a load changes on the way. */
uint8_t guard_runs(guard_t *guard, const settings_axis_t *set, const axis_t *axis)
{
    int16_t mean = (int16_t)halved(guard->current_mean, 4);
    if (guard->start_ticks < START_TICKS) {
        guard->start_ticks++;
        guard->own_ma = mean < 0 ? 0 : (uint16_t)mean;
    }
    uint8_t runs = cause_without_motion(guard, set, axis) == FAULT_POT_NOT_FOLLOWING;
    if (runs && (guard->still_ticks & 3) == 0) {
        uint16_t step = (uint16_t)(guard->own_ma / 128 + 1);
        guard->own_ma = (uint16_t)((uint16_t)mean > guard->own_ma ? guard->own_ma + step : guard->own_ma - step);
    }
    return runs;
}

/* Ticks in which the slowest motion meant stands out of the noise, at least the stall time. */
static uint16_t still_limit(const settings_axis_t *set, const axis_t *axis)
{
    int32_t travel = set->feedback == FEEDBACK_NONE ? CURRENT_TRAVEL : UNKNOWN_TRAVEL;
    if (set->calibrated) {
        travel = larger(position_block_travel(&axis->position, set, smaller(set->creep_speed_um_s, axis->demand_um_s)), 1);
    }
    int32_t ticks = div_toward_zero((int32_t)axis->position.threshold * 64, travel) + STILL_EXTRA;
    return (uint16_t)between(ticks, set->stall_time_ms / TICK_MS, 60000);
}

/* Below this output a rod with more load than was measured may well stand still. */
static uint8_t drives_enough(const settings_axis_t *set, int16_t output_permille)
{
    uint16_t size = (uint16_t)output_permille;
    uint16_t dead = set->dead_zone_extend_permille;
    if (output_permille < 0) {
        size = (uint16_t)-output_permille;
        dead = set->dead_zone_retract_permille;
    }
    return !set->calibrated || size >= dead + dead / 4 + 30 || size >= set->creep_output_permille / 8 * 7;
}

static void look_for_motion(guard_t *guard, const position_t *position)
{
    int32_t travel = position->block - guard->mark;
    if (position->span == 0) {
        travel = absolute(travel);
    } else if (guard->direction < 0) {
        travel = -travel;
    }
    if (travel >= position->threshold) {
        guard->mark = position->block;
        guard->still_ticks = 0;
        guard->moved = 1;
    }
}

static void watch(guard_t *guard, const settings_axis_t *set, const axis_t *axis, int8_t direction)
{
    guard->direction = direction;
    guard->mark = axis->position.block;
    guard->furthest_um = along(axis->position_um, direction);
    guard->current_mean = (int32_t)axis->current_ma * 16;
    guard->still_limit = still_limit(set, axis);
    guard->still_ticks = 0;
    guard->moved = 0;
    guard->start_ticks = 0;
}

static uint8_t goes_wrong_way(guard_t *guard, const settings_axis_t *set, const position_t *position, int32_t um)
{
    int32_t way = along(um, guard->direction);
    guard->furthest_um = larger(guard->furthest_um, way);
    int32_t allowed = unmoved(position) + larger(set->run_on_extend_um, set->run_on_retract_um);
    return position->span != 0 && way < guard->furthest_um - allowed;
}

uint8_t guard_motion(guard_t *guard, const settings_axis_t *set, const axis_t *axis)
{
    const position_t *position = &axis->position;
    int8_t direction = axis->output_permille < 0 ? -1 : 1;
    if (direction != guard->direction) {
        watch(guard, set, axis, direction);
    }
    guard->current_mean += halved((int32_t)axis->current_ma * 16 - guard->current_mean, 4);
    if (position->block_ready) {
        look_for_motion(guard, position);
    }
    if (goes_wrong_way(guard, set, position, axis->position_um)) {
        return FAULT_WRONG_WAY;
    }
    if (!(axis->also & AXIS_ALSO_FOLDED_BACK) && !drives_enough(set, axis->output_permille)) {
        return 0;
    }
    guard->still_ticks++;
    return guard->still_ticks >= guard->still_limit ? cause_without_motion(guard, set, axis) : 0;
}
