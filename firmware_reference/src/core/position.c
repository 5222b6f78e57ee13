#include "position.h"

#include "div.h"
#include "number.h"

#define FRACTION 14
#define ONE (INT32_C(1) << FRACTION)
#define PART 13                     /* of um_part: wrong by half a um at most over the whole scale */
#define RATE_MAX (INT32_C(64) << FRACTION)      /* raw per tick; keeps every product within 32 bits */
#define TICKS_PER_S INT32_C(200)
#define UM_MIN (-INT32_C(2000000))  /* what callers reckon with stays within these, whatever the pot says */
#define UM_MAX INT32_C(4000000)
#define UM_S_MAX INT32_C(400000)
#define JUMP 256                    /* raw, a 32nd of full scale: no rod goes so far in two ticks */

/* From the retracted endpoint, positive while extending; +-8190 at most. */
static CORE_ONCE int16_t way_of(const settings_axis_t *set, uint16_t raw)
{
    int16_t way = (int16_t)(raw - set->raw_retracted);
    return set->raw_extended < set->raw_retracted ? (int16_t)-way : way;
}

/* From point to point of the table, whose last is the extended endpoint, up to the one beyond the way. Pieces that do not
 * rise, or too steeply, end it with their number, as does what would come behind the last. */
static CORE_ONCE int16_t straight(const settings_axis_t *set, int16_t way)
{
    int16_t span = way_of(set, set->raw_extended);
    int16_t from;
    int16_t low;
    int16_t to = 0;
    int16_t high = 0;
    uint8_t n = 0;
    do {
        from = to;
        low = high;
        to = span;
        high = span;
        if (n < set->table_points) {
            to = way_of(set, set->table_raw[n]);
            high = (int16_t)((uint32_t)set->table_place[n] * (uint16_t)span >> 16);
        }
        n++;
        if (high <= low || high - low > 2 * (to - from)) {
            return n;
        }
    } while (way >= to);
    return (int16_t)(low + div_toward_zero((int32_t)(way - from) * (high - low), to - from));
}

uint8_t position_table_good(const settings_axis_t *set)
{
    return straight(set, INT16_MAX) > set->table_points + 1;
}

static void take_line(position_t *position, const settings_axis_t *set, uint16_t noise)
{
    position->span = (uint16_t)way_of(set, set->raw_extended);
    int32_t um = div_toward_zero(set->stroke_um, position->span);
    position->um_whole = (uint16_t)um;
    position->um_part = (uint16_t)div_toward_zero((set->stroke_um - um * position->span) << PART, position->span);
    position->noise_um = halved(position_count_um(position) * (int32_t)noise, 3);
}

static CORE_ONCE void begin(position_t *position, const settings_axis_t *set, uint16_t raw)
{
    position->last = raw;
    uint16_t noise = set->feedback == FEEDBACK_NONE ? 0 : set->noise_x16;
    if (set->table_points) {
        noise = (uint16_t)(noise * 2 + 8);      /* where it is steepest; and one raw more */
    }
    /* A block's noise is 4 sigma of a tick, so 6 of those are 24 sigma, and noise_x16 is 16 sigma. */
    position->threshold = (uint16_t)larger(noise + noise / 2, 2 * POSITION_BLOCK);
    if (set->calibrated) {
        take_line(position, set, noise);
    }
}

void position_new_block(position_t *position)
{
    position->block_sum = 0;
    position->block_ticks = 0;
    position->block_ready = 0;
}

static void fill_block(position_t *position, int16_t way)
{
    position->block_ready = 0;
    position->block_sum += way;
    position->block_ticks++;
    if (position->block_ticks == POSITION_BLOCK) {
        position->block = position->block_sum;
        position_new_block(position);
        position->block_ready = 1;
    }
}

/* One tick aside may be a spark, and the last reading stands in for it; two are a jump, and the next is judged from there. */
static uint16_t see_jump(position_t *position, const settings_axis_t *set, uint16_t raw)
{
    int16_t way = (int16_t)(raw - position->last);
    int16_t reach = (int16_t)(JUMP + set->noise_x16);           /* 16 sigma */
    uint8_t far = position->span != 0 && (way < -reach || way > reach);
    position->jumped = far ? (uint8_t)((position->jumped & 1) + 1) : 0;
    if (position->jumped != 1) {
        position->last = raw;
    }
    return position->last;
}

/* A reading as the straight line between the endpoints would have it. */
static int16_t straightened(const position_t *position, const settings_axis_t *set, uint16_t raw)
{
    if (position->span == 0) {
        return (int16_t)raw;
    }
    int16_t way = way_of(set, raw);
    return (uint16_t)way < position->span ? straight(set, way) : way;
}

void position_update(position_t *position, const settings_axis_t *set, uint16_t raw)
{
    uint8_t started = position->started;
    if (!started) {
        begin(position, set, raw);
    }
    int16_t way = straightened(position, set, see_jump(position, set, raw));
    if (!started) {
        position->started = 1;
        position->estimate = way * ONE;
        position->block = (int32_t)way * POSITION_BLOCK;
    }
    int32_t predicted = position->estimate + position->rate;
    int32_t residue = (way * ONE) - predicted;
    position->estimate = predicted + halved(residue, 2);
    position->rate = between(position->rate + halved(residue, 5), -RATE_MAX, RATE_MAX);
    fill_block(position, way);
}

/* Ways with 4 fraction bits to um; |way| below 2^18. */
static CORE_ONCE int32_t scaled(const position_t *position, int32_t way)
{
    return halved(way * position->um_whole + halved(way * position->um_part, PART), 4);
}

static int32_t um_of(const position_t *position, int32_t way16)
{
    return position->span == 0 ? 0 : between(scaled(position, way16), UM_MIN, UM_MAX);
}

int32_t position_um(const position_t *position)
{
    return um_of(position, halved(position->estimate, FRACTION - 4));
}

int32_t position_block_um(const position_t *position)
{
    return um_of(position, position->block);
}

int32_t position_speed(const position_t *position)
{
    int32_t raw_s = halved(position->rate * TICKS_PER_S, FRACTION - 4);       /* 4 fraction bits */
    return position->span == 0 ? halved(raw_s, 4) : between(scaled(position, raw_s), -UM_S_MAX, UM_S_MAX);
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
