#include "position.h"

#include "div.h"

#define FRACTION 14
#define RATE_MAX (INT32_C(64) << FRACTION)      /* raw per tick; keeps every product in position_speed within 32 bits */
#define TICKS_PER_S INT32_C(200)
#define UM_MIN (-INT32_C(2000000))          /* what callers reckon with stays within these, whatever the pot says */
#define UM_MAX INT32_C(4000000)
#define UM_S_MAX INT32_C(400000)

static int32_t between(int32_t value, int32_t low, int32_t high)
{
    return value < low ? low : value > high ? high : value;
}

void position_begin(position_t *position, const settings_axis_t *set)
{
    memset(position, 0, sizeof *position);
    if (set->feedback != FEEDBACK_POT || !set->calibrated) {
        return;
    }
    int32_t span = (int32_t)set->raw_extended - (int32_t)set->raw_retracted;
    position->sign = span < 0 ? -1 : 1;
    position->span = (uint16_t)(span < 0 ? -span : span);
    int32_t whole = div_toward_zero(set->stroke_um, position->span);
    position->um_whole = (uint16_t)whole;
    position->um_rest = (uint16_t)(set->stroke_um - whole * position->span);
}

void position_new_block(position_t *position)
{
    position->block_sum = 0;
    position->block_ticks = 0;
    position->block_ready = 0;
}

static void fill_block(position_t *position, uint16_t raw)
{
    position->block_sum += raw;
    position->block_ticks++;
    if (position->block_ticks < POSITION_BLOCK) {
        position->block_ready = 0;
        return;
    }
    position->block = position->block_sum;
    position_new_block(position);
    position->block_ready = 1;
}

void position_update(position_t *position, uint16_t raw)
{
    int32_t reading = (int32_t)raw * (INT32_C(1) << FRACTION);
    if (!position->started) {
        position->started = 1;
        position->estimate = reading;
        position->block = (uint32_t)raw * POSITION_BLOCK;
    }
    int32_t predicted = position->estimate + position->rate;
    int32_t residue = reading - predicted;
    position->estimate = predicted + (residue >> 2);
    position->rate = between(position->rate + (residue >> 5), -RATE_MAX, RATE_MAX);
    fill_block(position, raw);
}

/* Raw with some fraction bits to um with the same; |raw| below 2^18. */
static int32_t scaled(const position_t *position, int32_t raw)
{
    int32_t along = position->sign < 0 ? -raw : raw;
    return along * position->um_whole + div_toward_zero(along * position->um_rest, position->span);
}

/* Raw with 4 fraction bits to um. */
static int32_t um_of(const position_t *position, const settings_axis_t *set, int32_t raw16)
{
    if (position->span == 0) {
        return 0;
    }
    return between(scaled(position, raw16 - (int32_t)set->raw_retracted * 16) >> 4, UM_MIN, UM_MAX);
}

int32_t position_um(const position_t *position, const settings_axis_t *set)
{
    return um_of(position, set, position->estimate >> (FRACTION - 4));
}

int32_t position_block_um(const position_t *position, const settings_axis_t *set)
{
    return um_of(position, set, (int32_t)position->block);
}

int32_t position_speed(const position_t *position)
{
    int32_t raw_s = (position->rate * TICKS_PER_S) >> (FRACTION - 4);       /* 4 fraction bits */
    return position->span == 0 ? raw_s >> 4 : between(scaled(position, raw_s) >> 4, -UM_S_MAX, UM_S_MAX);
}

int32_t position_count_um(const position_t *position)
{
    return (int32_t)position->um_whole + 1;
}

int32_t position_block_travel(const position_t *position, const settings_axis_t *set, int32_t um_s)
{
    /* In 16 ticks the rod goes um_s * 16 / 200 um, and the sum grows by 16 times that in raw. */
    int32_t um = div_toward_zero(um_s * 32, 25);
    return div_toward_zero(um * position->span, set->stroke_um);
}

int32_t position_block_threshold(const settings_axis_t *set)
{
    /* A block's noise is 4 sigma of a tick, so 6 of those are 24 sigma, and noise_x16 is 16 sigma. */
    int32_t noise = (int32_t)set->noise_x16 * 3 / 2;
    return noise > 2 * POSITION_BLOCK ? noise : 2 * POSITION_BLOCK;
}
