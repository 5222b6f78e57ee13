#include "totals.h"

#include "blackbox.h"
#include "port.h"

#define PLACE_SIZE 28
#define TICKS_PER_S 200
#define MM 1000                         /* um */
#define PAUSE 60000                     /* of two ticks each: 10 minutes */

_Static_assert(sizeof(totals_record_t) == PLACE_SIZE, "a record fits its place");
_Static_assert(sizeof(total_t) == TOTALS_REPLY_BODY_SIZE - TOTALS_REPLY_ON_S_AT, "total_t is laid out as its reply");

static uint16_t place_of(uint16_t number)
{
    return number % 2 ? STORE_TOTALS_AT + PLACE_SIZE : STORE_TOTALS_AT;
}

void totals_start(core_t *core, uint8_t kept)
{
    totals_record_t *now = &core->noinit->totals.now;
    if (!kept) {
        record_newest(now, PLACE_SIZE, STORE_TOTALS_AT, 2, core->ee_read);
        now->number++;
    }
}

/* Kept as one function: 32 bits in memory take 30 bytes of code. */
static CORE_ONCE void count(void *at)
{
    uint32_t number;
    memcpy(&number, at, sizeof number);
    number++;
    memcpy(at, &number, sizeof number);
}

/* Way is counted by whole mm and beyond the noise, from where the motion began. */
void totals_tick(core_t *core, uint8_t index)
{
    totals_t *totals = &core->noinit->totals;
    total_t *total = &totals->now.axis[index];
    const axis_t *axis = &core->axis[index];
    uint16_t *last = &totals->um[index];
    int16_t went = (int16_t)((uint16_t)axis->position_um - *last);      /* not far: 16 bits tell it */
    totals->changed = 1;
    if (axis->on_ticks == 1) {
        *last = (uint16_t)axis->position_um;
        count(&total->starts);
        if (CORE_BLACK_BOX) {
            blackbox_motion(core);
        }
    } else if ((uint16_t)(went < 0 ? -went : went) >= (uint16_t)(MM + axis->position.noise_um)) {
        *last = (uint16_t)(*last + (uint16_t)(went < 0 ? -MM : MM));
        count(&total->travel_mm);
    }
    if (++totals->ticks[index] == TICKS_PER_S) {
        totals->ticks[index] = 0;
        count(&total->on_s);
    }
}

uint8_t totals_due(core_t *core, record_t *record)
{
    totals_t *totals = &core->noinit->totals;
    if (totals->pause != 0) {
        totals->pause = (uint16_t)(totals->pause - ((uint8_t)core->tick & 1));
        return 0;
    }
    record->from = &totals->now;
    record->at = place_of(totals->now.number);
    record->size = sizeof totals->now;
    record_seal(&totals->now, sizeof totals->now);
    return totals->changed && core_at_rest(core);
}

void totals_written(core_t *core)
{
    totals_t *totals = &core->noinit->totals;
    totals->now.number++;
    totals->changed = 0;
    totals->pause = PAUSE;
}
