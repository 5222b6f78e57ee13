#include "memory.h"

#include "event.h"
#include "hot.h"
#include "port.h"
#include "totals.h"
#include "trips.h"

#define TRIES_MOST 40                   /* bytes begun for one record, at most */
#define LOW_MV 4400                     /* below this a write may spoil more than its byte */

/* What a place does not take goes to another the next time. */
static void ended(core_t *core, uint8_t good)
{
    if (core->memory.at >= STORE_TRIPS_AT) {
        trips_written(core);
    } else if (core->memory.at < STORE_TOTALS_AT) {
        hot_written(core, good);
    } else {
        totals_written(core);
    }
    core->memory.at = 0;
}

static void write_record(core_t *core, const record_t *record, outputs_t *out)
{
    memory_t *memory = &core->memory;
    const uint8_t *from = record->from;
    uint8_t place = 0;
    if (memory->at != record->at) {
        memory->at = record->at;
        memory->tries = 0;
    }
    while (place < record->size && core->ee_read(record->at + place) == from[place]) {
        place++;
    }
    if (place == record->size || memory->tries == TRIES_MOST) {
        ended(core, place == record->size);
        return;
    }
    out->ee_value = from[place];
    if (memory->tries++ == 0) {
        place = (uint8_t)(record->size - 1);
        out->ee_value = RECORD_SPOILT;
    }
    out->ee_address = record->at + place;
    out->ee_write = 1;
}

static void write_settings(core_t *core, outputs_t *out)
{
    uint8_t said = store_tick(&core->store, &core->live, core->ee_read, &out->ee_address, &out->ee_value);
    out->ee_write = out->ee_address != 0;
    if (said != STORE_IDLE) {
        event_board(core, EVENT_KIND_STORED, said == STORE_FAILED, core->store.generation);
    }
}

void memory_tick(core_t *core, outputs_t *out)
{
    record_t record;
    out->ee_write = 0;
    if (!core->ee_ready || (core->live.board.board_5v_mv != 0 && core->board_5v_mv < LOW_MV)) {
        return;
    }
    if (hot_due(core, &record) || trips_due(core, &record) || totals_due(core, &record)) {
        write_record(core, &record, out);
    } else {
        core->memory.at = 0;
        write_settings(core, out);
    }
}
