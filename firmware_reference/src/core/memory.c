#include "memory.h"

#include "event.h"
#include "port.h"
#include "totals.h"
#include "trips.h"

#define LOW_MV 4400                     /* below this a write may spoil more than its byte */

/* Step 1 spoils the old check byte, then come the bytes in order, then the check byte. */
static uint8_t byte_of(const record_t *record, uint8_t step, uint16_t *address)
{
    uint8_t place = (uint8_t)(step == 1 ? record->size : step - 2);
    *address = record->at + place;
    if (place < record->size) {
        return record->from[place];
    }
    return step == 1 ? RECORD_SPOILT : record_check(record->from, record->size);
}

static void ended(core_t *core, uint8_t good)
{
    if (core->memory.at >= STORE_TRIPS_AT) {
        trips_written(core);
    } else {
        totals_written(core, good);
    }
    core->memory.at = 0;
}

static void write_record(core_t *core, const record_t *record, outputs_t *out)
{
    memory_t *memory = &core->memory;
    uint16_t address;
    if (memory->at != record->at) {
        memory->at = record->at;
        memory->step = 0;
    } else {
        uint8_t value = byte_of(record, memory->step, &address);
        uint8_t good = core->ee_read(address) == value;
        if (!good || memory->step == record->size + 2) {
            ended(core, good);
            return;
        }
    }
    out->ee_value = byte_of(record, ++memory->step, &out->ee_address);
    out->ee_write = core->ee_read(out->ee_address) != out->ee_value;
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
    if (trips_due(core, &record) || totals_due(core, &record)) {
        write_record(core, &record, out);
    } else {
        core->memory.at = 0;
        write_settings(core, out);
    }
}
