#include "guard.h"

#include "div.h"

#define BAND_TICKS 5                /* 25 ms: an open wiper takes that long to fall */
#define FULL_SCALE INT32_C(8184)
#define TICK_MS 5
#define UNKNOWN_TRAVEL 13           /* of a block, for a rod of unknown speed: 0.05 raw a tick */
#define STILL_EXTRA 40              /* ticks: two blocks and the start of the motor */

void guard_begin(guard_t *guard)
{
    uint8_t band_ticks = guard->band_ticks;
    memset(guard, 0, sizeof *guard);
    guard->band_ticks = band_ticks;
}

static int32_t larger(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static uint8_t in_band(const settings_axis_t *set, uint16_t raw)
{
    int32_t margin = set->pot_margin_raw;
    int32_t low = margin;
    int32_t high = FULL_SCALE - margin;
    if (set->calibrated) {
        uint8_t rises = set->raw_extended > set->raw_retracted;
        low = (int32_t)(rises ? set->raw_retracted : set->raw_extended) - margin;
        high = (int32_t)(rises ? set->raw_extended : set->raw_retracted) + margin;
        low = larger(low, margin / 2);              /* an open or shorted pot shows whatever the endpoints */
        high = -larger(-high, margin / 2 - FULL_SCALE);
    }
    return raw >= low && raw <= high;
}

uint8_t guard_pot_band(guard_t *guard, const settings_axis_t *set, uint16_t raw)
{
    if (in_band(set, raw)) {
        guard->band_ticks = 0;
        return 0;
    }
    if (guard->band_ticks < BAND_TICKS) {
        guard->band_ticks++;
    }
    return guard->band_ticks >= BAND_TICKS ? FAULT_POT_BAND : 0;
}

uint8_t guard_over_current(guard_t *guard, const settings_axis_t *set, const guard_in_t *in)
{
    if (set->current_sensor == CURRENT_SENSOR_NONE || in->output_permille == 0 ||
        in->current_ma <= (int32_t)set->trip_ma) {
        guard->over_ticks = 0;
        return 0;
    }
    guard->over_ticks++;
    return (uint32_t)guard->over_ticks * TICK_MS >= set->trip_ms ? FAULT_OVER_CURRENT : 0;
}

static uint8_t cause_without_motion(const guard_t *guard, const settings_axis_t *set, const guard_in_t *in)
{
    if (set->current_sensor == CURRENT_SENSOR_NONE) {
        return FAULT_STALL;
    }
    int32_t mean = guard->current_mean >> 4;
    int32_t running = set->running_ma;
    if (mean < larger(running / 4, 2 * (int32_t)in->current_lsb_ma)) {
        return FAULT_NO_CURRENT;
    }
    uint8_t high = running > 0 ? mean * 5 >= running * 6 : mean * 2 >= (int32_t)set->trip_ma;
    return high ? FAULT_STALL : FAULT_POT_NOT_FOLLOWING;
}

/* Ticks in which the slowest motion meant stands out of the noise, at least the stall time. */
static uint16_t still_limit(const settings_axis_t *set, const position_t *position, const guard_in_t *in)
{
    int32_t travel = UNKNOWN_TRAVEL;
    if (set->calibrated) {
        travel = larger(position_block_travel(position, set, in->slow_um_s), 1);
    }
    int32_t ticks = div_toward_zero(position_block_threshold(set) * 64, travel) + STILL_EXTRA;
    ticks = larger(ticks, set->stall_time_ms / TICK_MS);
    return ticks > 60000 ? 60000u : (uint16_t)ticks;
}

/* Below this output a rod with more load than was measured may well stand still. */
static int32_t driving_from(const settings_axis_t *set, int8_t direction)
{
    if (!set->calibrated) {
        return 1;
    }
    int32_t dead = direction < 0 ? set->dead_zone_retract_permille : set->dead_zone_extend_permille;
    int32_t clear = dead + dead / 4 + 30;
    int32_t creep = (int32_t)set->creep_output_permille * 7 / 8;
    return clear < creep ? clear : creep;
}

static void look_for_motion(guard_t *guard, const settings_axis_t *set, const position_t *position)
{
    int32_t travel = (int32_t)position->block - (int32_t)guard->mark;
    if (set->calibrated) {
        travel *= guard->direction * position->sign;
    } else if (travel < 0) {
        travel = -travel;
    }
    if (travel >= position_block_threshold(set)) {
        guard->mark = position->block;
        guard->still_ticks = 0;
        guard->moved = 1;
    }
}

static void watch(guard_t *guard, const settings_axis_t *set, const position_t *position, const guard_in_t *in,
                  int8_t direction)
{
    uint16_t over_ticks = guard->over_ticks;
    guard_begin(guard);
    guard->over_ticks = over_ticks;
    guard->direction = direction;
    guard->mark = position->block;
    guard->furthest_um = in->um * direction;
    guard->current_mean = (int32_t)in->current_ma * 16;
    guard->still_limit = still_limit(set, position, in);
}

static uint8_t goes_wrong_way(guard_t *guard, const settings_axis_t *set, const position_t *position,
                              const guard_in_t *in)
{
    int32_t um = in->um * guard->direction;
    guard->furthest_um = larger(guard->furthest_um, um);
    int32_t noise = div_toward_zero(position_count_um(position) * ((int32_t)set->noise_x16 + 2), 2);
    int32_t allowed = larger(1000, noise) + larger(set->run_on_extend_um, set->run_on_retract_um);
    return um < guard->furthest_um - allowed;
}

uint8_t guard_motion(guard_t *guard, const settings_axis_t *set, const position_t *position, const guard_in_t *in)
{
    if (in->output_permille == 0) {
        return 0;
    }
    int8_t direction = in->output_permille < 0 ? -1 : 1;
    if (direction != guard->direction) {
        watch(guard, set, position, in, direction);
    }
    guard->current_mean += ((int32_t)in->current_ma * 16 - guard->current_mean) >> 4;
    if (position->block_ready) {
        look_for_motion(guard, set, position);
    }
    if (set->calibrated && goes_wrong_way(guard, set, position, in)) {
        return FAULT_WRONG_WAY;
    }
    if (in->output_permille * direction < driving_from(set, direction)) {
        return 0;
    }
    guard->still_ticks++;
    return guard->still_ticks >= guard->still_limit ? cause_without_motion(guard, set, in) : 0;
}
