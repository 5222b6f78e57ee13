#include "trips.h"

#include "bytes.h"
#include "div.h"
#include "number.h"
#include "port.h"

#define PLACES 8                        /* a power of two: a number wraps without a gap */
#define PLACE_SIZE sizeof(trip_t)
#define REPLY_SIZE (TRIP_GET_REPLY_BODY_SIZE - TRIP_GET_REPLY_NUMBER_AT)

_Static_assert(STORE_TRIPS_AT + PLACES * PLACE_SIZE <= STORE_SIZE, "the log fits the memory");
_Static_assert(offsetof(trip_t, check) == REPLY_SIZE, "trip_t is laid out as its reply");

static uint16_t place_of(uint16_t number)
{
    return (uint16_t)(STORE_TRIPS_AT + number % PLACES * PLACE_SIZE);
}

void trips_start(core_t *core)
{
    trip_t newest;
    record_newest(&newest, sizeof newest, STORE_TRIPS_AT, PLACES, core->ee_read);
    core->trips.number = newest.number;
}

void trips_note(core_t *core, const uint8_t *event)
{
    trips_t *trips = &core->trips;
    trips->number++;
    if (trips->waiting == TRIPS_WAITING) {
        return;
    }
    trip_t *trip = &trips->trip[trips->waiting++];
    trip->number = trips->number;
    trip->axis = event[EVENT_AXIS_AT];
    trip->fault = event[EVENT_CAUSE_AT];
    memcpy(&trip->position_um, event + EVENT_POSITION_UM_AT, sizeof trip->position_um);
    memcpy(&trip->raw, event + EVENT_RAW_AT, sizeof trip->raw);
    memcpy(&trip->current_ma, event + EVENT_CURRENT_MA_AT, sizeof trip->current_ma);
    trip->supply_mv = core->supply_mv;
    trip->output_percent = (int8_t)div_toward_zero((int16_t)get_u16(event + EVENT_OUTPUT_PERMILLE_AT), 10);
    trip->uptime_min = at_most_u16(div_toward_zero((int32_t)(core->tick >> 5), 375));     /* 12 000 ticks a minute */
    record_seal(trip, sizeof *trip);
}

uint8_t trips_get(const core_t *core, trip_t *trip, uint8_t age)
{
    uint16_t number = (uint16_t)(core->trips.number - age);
    if (!core->ee_ready || core->memory.at != 0) {
        return STATUS_BUSY;
    }
    uint8_t good = record_get(trip, sizeof *trip, place_of(number), core->ee_read);
    return good && trip->number == number ? STATUS_OK : STATUS_NOTHING_KEPT;
}

uint8_t trips_due(core_t *core, record_t *record)
{
    const trip_t *trip = core->trips.trip;
    record->from = trip;
    record->at = place_of(trip->number);
    record->size = sizeof *trip;
    return core->trips.waiting != 0;
}

void trips_written(core_t *core)
{
    trips_t *trips = &core->trips;
    trips->waiting--;
    trips->trip[0] = trips->trip[1];
}
