#include "totals.h"

#include "number.h"
#include "port.h"

#define PLACE_SIZE 28
#define TICKS_PER_S 200
#define MM 1000
#define NOISE_MOST 16000                /* um */
#define PAUSE 60000                     /* of two ticks each: 10 minutes */

_Static_assert(sizeof(totals_record_t) < PLACE_SIZE, "a record and its check byte fit their place");
_Static_assert(sizeof(total_t) == TOTALS_REPLY_BODY_SIZE - TOTALS_REPLY_ON_S_AT, "total_t is laid out as its reply");

static uint16_t place_of(uint16_t number)
{
    return number % 2 ? STORE_TOTALS_AT : STORE_TOTALS_AT + PLACE_SIZE;
}

void totals_start(core_t *core, uint8_t kept)
{
    totals_t *totals = &core->noinit->totals;
    if (kept) {
        return;
    }
    memset(totals, 0, sizeof *totals);
    for (uint8_t n = 0; n < 2; n++) {
        totals_record_t found;
        if (record_get(&found, sizeof found, place_of(n), core->ee_read) &&
            (int16_t)(found.number - totals->now.number) >= 0) {
            totals->now = found;
        }
    }
    totals->now.number++;
}

/* Way is counted by whole mm and beyond the noise, from where the motion began. */
static void count_way(totals_t *totals, const axis_t *axis, uint8_t index)
{
    uint16_t um = (uint16_t)axis->position_um;      /* near where it was last: 16 bits tell how far */
    int16_t went = (int16_t)(um - totals->um[index]);
    int16_t least = (int16_t)(MM + smaller(axis->position.noise_um, NOISE_MOST));
    if (axis_at_rest(axis)) {
        totals->um[index] = um;
    } else if (went >= least || went <= -least) {
        totals->um[index] = (uint16_t)(totals->um[index] + (uint16_t)(went < 0 ? -MM : MM));
        totals->now.axis[index].travel_mm++;
    }
}

void totals_tick(core_t *core, uint8_t index, uint8_t on)
{
    totals_t *totals = &core->noinit->totals;
    total_t *total = &totals->now.axis[index];
    const axis_t *axis = &core->axis[index];
    count_way(totals, axis, index);
    if (!on) {
        return;
    }
    totals->changed = 1;
    total->starts += axis->on_ticks == 1;
    if (++totals->ticks[index] == TICKS_PER_S) {
        totals->ticks[index] = 0;
        total->on_s++;
    }
}

uint8_t totals_due(core_t *core, record_t *record)
{
    totals_t *totals = &core->noinit->totals;
    if (totals->pause != 0) {
        totals->pause = (uint16_t)(totals->pause - ((uint8_t)core->tick & 1));
        return 0;
    }
    record->from = (const uint8_t *)&totals->now;
    record->at = place_of(totals->now.number);
    record->size = sizeof totals->now;
    return totals->changed && core_at_rest(core);
}

void totals_written(core_t *core, uint8_t good)
{
    totals_t *totals = &core->noinit->totals;
    totals->now.number += good;         /* a place that takes no byte more is tried again, and the good one stays */
    totals->changed = !good;
    totals->pause = PAUSE;
}
