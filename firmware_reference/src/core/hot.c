#include "hot.h"

#include "duty.h"
#include "number.h"
#include "port.h"

#define PLACES 17
#define UNIT 32                         /* ticks: used is told in these */
#define LEAD 64                         /* ticks told in advance at rest: both axes 32, a record is written in 20 */
#define AHEAD 6016                      /* and in motion: 30 s */
#define HEAT_AHEAD 6
#define HEAT_ENOUGH 200                 /* 3200 permille: no level is as high */
#define LOWERS 1                        /* what the record under way does */
#define RAISES 2

_Static_assert(STORE_HOT_AT + PLACES * sizeof(hot_record_t) <= STORE_TOTALS_AT, "the records fill their place");

/* All that the record tells was spent so long ago. */
static void take_up(core_t *core, uint16_t off_s)
{
    const settings_axis_t *set = core->live.axis;
    const hot_axis_t *told = core->hot.record.axis;
    duty_t *duty = core->noinit->duty;
    for (uint8_t left = AXES; left > 0; left--, set++, told++, duty++) {
        duty_begin(duty, set, (uint32_t)told->used * UNIT, off_s);
        duty->heat = told->heat * UINT32_C(0xFFFFFF);   /* so that heat_of gives it back */
        thermal_rest(&duty->heat, set, off_s);
    }
}

/* A record that neither RAM nor memory has kept is fresh only where power was away, or nobody can tell. */
void hot_start(core_t *core, uint8_t kept)
{
    hot_t *hot = &core->hot;
    uint8_t found = record_newest(&hot->record, sizeof hot->record, STORE_HOT_AT, PLACES, core->ee_read);
    hot->record.number++;
    if (kept) {
        duty_resume(&core->noinit->duty[0], &core->live.axis[0]);
        duty_resume(&core->noinit->duty[1], &core->live.axis[1]);
        return;
    }
    core->noinit->credit = 1;
    if (!found && core->reset_cause > RESET_CAUSE_POWER_ON) {
        hot->record.axis[0].used = UINT16_MAX;
        hot->record.axis[1].used = UINT16_MAX;
    }
    take_up(core, 0);
}

/* In 16 permille, rounded up. */
static uint8_t heat_of(const duty_t *duty)
{
    return (uint8_t)((duty->heat >> 24) + 1);
}

void hot_tick(core_t *core)
{
    hot_t *hot = &core->hot;
    hot_axis_t *told = hot->record.axis;
    const duty_t *duty = core->noinit->duty;
    uint8_t more = 0;
    uint8_t warmer = 0;
    if (hot->writing) {
        return;
    }
    if (core_at_rest(core)) {
        if (hot->cover >= LEAD && (core->tick & 0x1FFFF) != 0x10000) {
            return;
        }
        hot->writing = LOWERS;
    } else {
        if (hot->cover > LEAD && heat_of(duty) < told[0].heat && heat_of(duty + 1) < told[1].heat) {
            return;
        }
        more = AHEAD / UNIT;
        warmer = HEAT_AHEAD;
        hot->writing = RAISES;
        core->noinit->credit = 0;
    }
    if (hot->cover > LEAD) {
        hot->cover = LEAD;
    }
    for (uint8_t left = AXES; left > 0; left--, told++, duty++) {
        told->used = (uint16_t)((duty_used(duty) + LEAD + UNIT - 1) / UNIT + more);
        told->heat = heat_of(duty);
        if (told->heat < HEAT_ENOUGH) {
            told->heat = (uint8_t)(told->heat + warmer);
        }
    }
    record_seal(&hot->record, sizeof hot->record);
}

uint8_t hot_due(core_t *core, record_t *record)
{
    hot_t *hot = &core->hot;
    record->from = &hot->record;
    record->at = (uint16_t)(STORE_HOT_AT + hot->record.number % PLACES * sizeof hot->record);
    record->size = sizeof hot->record;
    return hot->writing;
}

void hot_written(core_t *core, uint8_t good)
{
    hot_t *hot = &core->hot;
    hot->record.number++;               /* what a place does not take goes to the next, sealed anew */
    record_seal(&hot->record, sizeof hot->record);
    if (good) {
        hot->cover = hot->writing == RAISES ? AHEAD : LEAD;
        hot->writing = 0;
    }
}

uint8_t hot_credit(core_t *core, uint32_t off_s)
{
    if (!core->noinit->credit) {
        return STATUS_NOTHING_KEPT;
    }
    core->noinit->credit = 0;
    take_up(core, at_most_u16((int32_t)off_s));
    return STATUS_OK;
}
