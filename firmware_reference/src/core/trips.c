#include "trips.h"

#include "div.h"
#include "port.h"

#define PLACES 8                        /* a power of two: a number wraps without a gap */
#define PLACE_SIZE (sizeof(trip_t) + 1)
#define TICKS_PER_MIN 12000

_Static_assert(STORE_TRIPS_AT + PLACES * PLACE_SIZE <= STORE_SIZE, "the log fits the memory");
_Static_assert(sizeof(trip_t) == TRIP_GET_REPLY_BODY_SIZE - TRIP_GET_REPLY_NUMBER_AT, "trip_t is laid out as its reply");

static uint16_t place_of(uint16_t number)
{
    return (uint16_t)(STORE_TRIPS_AT + number % PLACES * PLACE_SIZE);
}

void trips_start(core_t *core)
{
    trip_t trip;
    uint8_t found = 0;
    for (uint8_t n = 0; n < PLACES; n++) {
        if (record_get(&trip, sizeof trip, place_of(n), core->ee_read) &&
            (!found || (int16_t)(trip.number - core->trips.number) > 0)) {
            core->trips.number = trip.number;
            found = 1;
        }
    }
}

static uint16_t uptime_min(const core_t *core)
{
    if (core->tick >= UINT32_C(65535) * TICKS_PER_MIN) {
        return 65535;
    }
    return (uint16_t)div_toward_zero((int32_t)core->tick, TICKS_PER_MIN);
}

void trips_note(core_t *core, uint8_t axis, uint8_t fault, int16_t output_before)
{
    trips_t *trips = &core->trips;
    trips->number++;
    if (trips->waiting == TRIPS_WAITING) {
        return;
    }
    trip_t *trip = &trips->trip[trips->waiting++];
    memset(trip, 0, sizeof *trip);
    trip->number = trips->number;
    trip->axis = axis;
    trip->fault = fault;
    if (axis != 0) {
        const axis_t *of = &core->axis[axis - 1];
        trip->position_um = of->position_um;
        trip->raw = of->raw;
        trip->current_ma = of->current_ma;
        trip->output_percent = (int8_t)div_toward_zero(output_before, 10);
    }
    trip->supply_mv = core->supply_mv;
    trip->uptime_min = uptime_min(core);
}

uint8_t trips_get(const core_t *core, trip_t *trip, uint8_t age)
{
    uint16_t number = (uint16_t)(core->trips.number - age);
    for (uint8_t n = 0; n < core->trips.waiting; n++) {
        *trip = core->trips.trip[n];
        if (trip->number == number) {
            return STATUS_OK;
        }
    }
    if (!core->ee_ready) {
        return STATUS_BUSY;
    }
    uint8_t good = record_get(trip, sizeof *trip, place_of(number), core->ee_read);
    return good && trip->number == number ? STATUS_OK : STATUS_NOTHING_KEPT;
}

uint8_t trips_due(core_t *core, record_t *record)
{
    const trip_t *trip = core->trips.trip;
    record->from = (const uint8_t *)trip;
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
