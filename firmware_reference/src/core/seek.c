#include "seek.h"

#include "div.h"

#define DWELL_MIN 46                /* ticks: 150 ms, and the block in which the rod came to a stop */
#define DWELL_MAX 400
#define DWELL_MAX_BLIND 60          /* without a current sensor: 300 ms, for a stalled motor's sake */
#define SETTLE 16                   /* first ticks of the dwell, which may still have seen motion */
#define PROBE_TICKS 20              /* 100 ms */
#define PROBE_HALF 10
#define SLOWEST_TRAVEL 13           /* of a block: 0.05 raw a tick, slower than any rod that fits a pot */

static void set_dwell(seek_t *seek, const settings_axis_t *set)
{
    int32_t travel = seek->travel > 0 ? seek->travel : SLOWEST_TRAVEL;
    int32_t ticks = div_toward_zero(position_block_threshold(set) * 24, travel) + 2 * SETTLE;
    int32_t most = set->current_sensor == CURRENT_SENSOR_NONE ? DWELL_MAX_BLIND : DWELL_MAX;
    if (ticks < DWELL_MIN) {
        ticks = DWELL_MIN;
    }
    seek->dwell = (uint16_t)(ticks < most ? ticks : most);
}

void seek_begin(seek_t *seek, const settings_axis_t *set, const position_t *position)
{
    memset(seek, 0, sizeof *seek);
    seek->mark = position->block;
    set_dwell(seek, set);
}

static int32_t distance(uint32_t a, uint32_t b)
{
    return a > b ? (int32_t)(a - b) : (int32_t)(b - a);
}

/* The block before the one that showed motion lay wholly within the run. */
static void keep_running_current(seek_t *seek)
{
    if (seek->runs < 2) {
        seek->runs++;
        return;
    }
    int32_t before = seek->current_before;
    int32_t last = seek->current_last;
    before = seek->runs == 2 ? last : before + div_nearest(last - before, 4);
    seek->current_before = (int16_t)before;
    seek->runs = 3;
}

static void see_motion(seek_t *seek, const settings_axis_t *set, const position_t *position)
{
    int32_t blocks = (seek->still_ticks + POSITION_BLOCK / 2) / POSITION_BLOCK;
    blocks = blocks > 0 ? blocks : 1;
    int32_t travel = div_toward_zero(distance(position->block, seek->mark), blocks);
    seek->travel = seek->travel > 0 ? div_toward_zero(3 * seek->travel + travel, 4) : travel;
    keep_running_current(seek);
    seek->mark = position->block;
    seek->still_ticks = 0;
    seek->current_sum = 0;
    set_dwell(seek, set);
}

static void end_block(seek_t *seek, const settings_axis_t *set, const position_t *position)
{
    if (distance(position->block, seek->mark) >= position_block_threshold(set)) {
        see_motion(seek, set, position);
    }
    seek->current_last = (int16_t)div_nearest(seek->block_current, POSITION_BLOCK);
    seek->block_current = 0;
}

static uint8_t probe_tick(seek_t *seek, const settings_axis_t *set, const position_t *position, int16_t current_ma)
{
    if (position->block_ready && distance(position->block, seek->mark) >= 2 * position_block_threshold(set)) {
        seek_begin(seek, set, position);            /* it moved on: no end, only a tight place */
        return SEEK_GOING;
    }
    if (seek->probe_ticks > PROBE_HALF) {
        seek->current_sum += current_ma;
    }
    if (seek->probe_ticks < PROBE_TICKS) {
        seek->probe_ticks++;
        return SEEK_PROBING;
    }
    seek->current_probe = (int16_t)div_nearest(seek->current_sum, PROBE_TICKS - PROBE_HALF);
    return SEEK_FOUND;
}

static uint8_t creep_tick(seek_t *seek, const settings_axis_t *set, position_t *position, int16_t current_ma)
{
    seek->block_current += current_ma;
    seek->still_ticks++;
    if (seek->still_ticks > SETTLE) {
        seek->current_sum += current_ma;
    }
    if (position->block_ready) {
        end_block(seek, set, position);
    }
    if (seek->still_ticks < seek->dwell) {
        return SEEK_GOING;
    }
    seek->current_stop = (int16_t)div_nearest(seek->current_sum, (int32_t)seek->still_ticks - SETTLE);
    seek->current_sum = 0;
    seek->probe_ticks = 1;
    position_new_block(position);
    return SEEK_PROBING;
}

int16_t seek_tick(seek_t *seek, const settings_axis_t *set, position_t *position, int16_t current_ma, uint8_t *said)
{
    *said = seek->probe_ticks > 0 ? probe_tick(seek, set, position, current_ma)
                                  : creep_tick(seek, set, position, current_ma);
    int32_t output = set->creep_output_permille;
    if (*said == SEEK_PROBING) {
        output = output + div_toward_zero(output, 5);
        output = output < set->output_max_permille ? output : set->output_max_permille;
    }
    return *said == SEEK_FOUND ? 0 : (int16_t)output;
}
