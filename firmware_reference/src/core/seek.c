#include "seek.h"

#include "div.h"
#include "number.h"

#define DWELL_MIN 46                /* ticks: 150 ms, and the block in which the rod came to a stop */
#define DWELL_MAX 400
#define DWELL_MAX_BLIND 60          /* without a current sensor: 300 ms, for a stalled motor's sake */
#define DWELL_START_BLIND 180       /* once in a seek, before its first motion: a slow start is no end */
#define SETTLE 16                   /* first ticks of the dwell, which may still have seen motion */
#define PROBE_TICKS 20              /* 100 ms */
#define PROBE_HALF 10
#define SLOWEST_TRAVEL 26           /* of a block: 0.1 raw a tick, a slow rod's creep */
#define SURE_RUNS 3                 /* blocks with motion after which its speed is believed */

static void set_dwell(seek_t *seek, const settings_axis_t *set, const position_t *position)
{
    int32_t travel = seek->runs >= SURE_RUNS ? larger(seek->travel, 1) : SLOWEST_TRAVEL;
    int32_t ticks = div_toward_zero((int32_t)position->threshold * 64, travel) + 2 * SETTLE;
    int32_t most = DWELL_MAX;
    if (set->current_sensor == CURRENT_SENSOR_NONE) {
        most = seek->runs > 0 ? DWELL_MAX_BLIND : DWELL_START_BLIND;
    }
    seek->dwell = (uint16_t)between(ticks, DWELL_MIN, most);
}

void seek_begin(seek_t *seek, const settings_axis_t *set, position_t *position)
{
    memset(seek, 0, sizeof *seek);
    seek->mark = position->block;
    set_dwell(seek, set, position);
    position_new_block(position);
}

static CORE_ONCE int32_t moved(const seek_t *seek, const position_t *position)
{
    return absolute(position->block - seek->mark);
}

/* What was drawn some blocks ago, so that it is not what the rod drew while it came to a stop. */
static void keep_running_current(seek_t *seek)
{
    if (seek->runs < SEEK_LAST + 1) {
        seek->runs++;
    }
    if (seek->runs >= 2) {
        int32_t before = seek->current_before;
        int32_t last = seek->current_last[seek->runs - 2];
        seek->current_before = (int16_t)(seek->runs == 2 ? last : before + halved(last - before, 3));
    }
}

static void see_motion(seek_t *seek, const settings_axis_t *set, const position_t *position)
{
    int32_t blocks = larger((seek->still_ticks + POSITION_BLOCK / 2) / POSITION_BLOCK, 1);
    int32_t travel = div_toward_zero(moved(seek, position), blocks);
    keep_running_current(seek);
    seek->travel = seek->runs > 1 ? seek->travel + halved(travel - seek->travel, 2) : travel;
    seek->mark = position->block;
    seek->still_ticks = 0;
    seek->current_sum = 0;
    set_dwell(seek, set, position);
}

static int16_t mean(int32_t sum, uint16_t count)
{
    return (int16_t)div_nearest(sum, count);
}

static uint8_t probe_tick(seek_t *seek, const settings_axis_t *set, position_t *position, int16_t current_ma)
{
    if (position->block_ready && moved(seek, position) >= 2 * (int32_t)position->threshold) {
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
    seek->current_probe = mean(seek->current_sum, PROBE_TICKS - PROBE_HALF);
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
        if (moved(seek, position) >= position->threshold) {
            see_motion(seek, set, position);
        }
        memmove(seek->current_last + 1, seek->current_last, sizeof seek->current_last - sizeof seek->current_last[0]);
        seek->current_last[0] = mean(seek->block_current, POSITION_BLOCK);
        seek->block_current = 0;
    }
    if (seek->still_ticks < seek->dwell) {
        return SEEK_GOING;
    }
    seek->current_stop = mean(seek->current_sum, (uint16_t)(seek->still_ticks - SETTLE));
    seek->current_sum = 0;
    seek->probe_ticks = 1;
    position_new_block(position);
    return SEEK_PROBING;
}

uint8_t seek_tick(seek_t *seek, const settings_axis_t *set, position_t *position, int16_t current_ma)
{
    return seek->probe_ticks > 0 ? probe_tick(seek, set, position, current_ma)
                                 : creep_tick(seek, set, position, current_ma);
}
