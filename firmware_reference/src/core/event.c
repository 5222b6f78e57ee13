#include "event.h"

#include "bytes.h"
#include "blackbox.h"
#include "port.h"
#include "telemetry.h"
#include "trips.h"

_Static_assert(offsetof(axis_t, position_um) == offsetof(axis_t, raw) + EVENT_POSITION_UM_AT - EVENT_RAW_AT &&
               offsetof(axis_told_t, cause) == EVENT_CAUSE_AT - EVENT_KIND_AT &&
               offsetof(axis_event_t, value_b) - offsetof(axis_event_t, value_a) == EVENT_VALUE_B_AT - EVENT_VALUE_A_AT,
               "an event's parts lie as it has them");

void event_send(core_t *core, uint8_t axis, const axis_event_t *event, int16_t output_before)
{
    uint8_t body[EVENT_BODY_SIZE + HEADER_SIZE];
    const axis_t *ax = &core->axis[axis == 2];
    uint8_t *at = telemetry_header(core, body, MSG_EVENT);
    at = put_u16(at, ++core->event_number);
    at = put_u8(at, axis);
    at = put_bytes(at, event, EVENT_RAW_AT - EVENT_KIND_AT);
    if (axis != 0) {
        at = put_bytes(at, &ax->raw, EVENT_CURRENT_MA_AT - EVENT_RAW_AT);
        at = put_u16(at, (uint16_t)ax->current_ma);
    } else {
        at = put_u32(at, 0);
        at = put_u32(at, 0);
    }
    at = put_u16(at, (uint16_t)output_before);
    put_bytes(at, &event->value_a, EVENT_BODY_SIZE - EVENT_VALUE_A_AT);
    telemetry_send(core, body, sizeof body);
    if (event->told.kind == EVENT_KIND_TRIP) {
        trips_note(core, body + HEADER_SIZE);
        if (CORE_BLACK_BOX) {
            blackbox_freeze(&core->noinit->box, axis, event->told.cause);
        }
    }
}

void event_axis(core_t *core, uint8_t axis, const axis_out_t *out)
{
    axis_event_t event;
    for (uint8_t n = 0; n < out->events; n++) {
        axis_event(&core->axis[axis - 1], out, n, &event);
        event_send(core, axis, &event, out->output_before);
    }
}

void event_board(core_t *core, uint8_t kind, uint8_t cause, int32_t value_a)
{
    axis_event_t event = {{kind, cause}, value_a, 0};
    event_send(core, 0, &event, 0);
}
