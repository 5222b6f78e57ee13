#include "handle.h"

#include "bytes.h"
#include "digest.h"
#include "handle_motion.h"
#include "handle_settings.h"
#include "port.h"
#include "telemetry.h"

#define RESTART_TICKS 6                 /* time for the reply to leave */
#define MS_PER_TICK 5
#define AXIS_PERIOD_LEAST_MS 10
#define BOARD_PERIOD_LEAST_MS 50
#define NO_SUCH 0xFF

uint8_t handle_bad_value(call_t *call, uint8_t place)
{
    call->detail = place;
    return STATUS_BAD_VALUE;
}

uint8_t handle_hello(core_t *core, call_t *call)
{
    uint8_t *at = call->end;
    at = put_u8(at, PROTOCOL_MAJOR);
    at = put_u8(at, PROTOCOL_MINOR);
    at = put_u32(at, SCHEMA_DIGEST);
    at = put_u16(at, core->noinit->nonce);
    at = put_u8(at, FIRMWARE_MAJOR);
    at = put_u8(at, FIRMWARE_MINOR);
    at = put_u8(at, FIRMWARE_PATCH);
    at = put_u8(at, BOARD_KIND_ATMEGA328P_5V);
    at = put_u8(at, AXES);
    at = put_u16(at, FEATURES_TWO_AXES | FEATURES_CURRENT_SENSE | FEATURES_SUPPLY_SENSE);
    at = put_u8(at, core->reset_cause);
    at = put_u16(at, ATMEGA328P_5V_ADC_FULL_SCALE);
    at = put_u16(at, ATMEGA328P_5V_ADC_REFERENCE_MV);
    at = put_u32(at, core->live.board.board_id);
    at = put_u32(at, digest_of(&core->live, sizeof core->live));
    at = put_u32(at, core->store.digest);
    memcpy(at, FIRMWARE_NAME, HELLO_REPLY_NAME_SIZE);
    call->end = at + HELLO_REPLY_NAME_SIZE;
    return STATUS_OK;
}

uint8_t handle_open(core_t *core, call_t *call, uint8_t session, uint8_t seq)
{
    if (call->size < OPEN_BODY_MIN) {
        return STATUS_MALFORMED;
    }
    if (get_u16(call->body + OPEN_BOOT_NONCE_AT) != core->noinit->nonce) {
        return STATUS_WRONG_NONCE;
    }
    if (call->body[OPEN_PROTOCOL_MAJOR_AT] != PROTOCOL_MAJOR) {
        return STATUS_PROTOCOL_MAJOR;
    }
    if (session == 0) {
        return STATUS_BAD_VALUE;
    }
    if (session == core->session.number) {
        return STATUS_SESSION_IN_USE;
    }
    core->session.number = session;
    core->session.seq = seq;
    core->session.newest_alive = core->tick;
    draft_drop(&core->draft);
    telemetry_subscribe(core, 0, 0);
    for (uint8_t index = 0; index < AXES; index++) {
        axis_stop(&core->axis[index], &core->live.axis[index], 1, ENDED_SESSION);
    }
    return STATUS_OK;
}

static uint8_t counters(core_t *core, call_t *call)
{
    const counters_t *counted = &core->counters;
    uint8_t *at = call->end;
    at = put_u32(at, counted->requests_done);
    at = put_u32(at, counted->frames_good);
    at = put_u16(at, counted->frames_bad);
    at = put_u16(at, counted->frames_dropped);
    at = put_u16(at, counted->repeats);
    at = put_u16(at, counted->alive_ignored);
    at = put_u16(at, counted->unasked_dropped);
    at = put_u16(at, counted->late_ticks);
    call->end = put_u16(at, counted->worst_tick_us);
    return STATUS_OK;
}

static uint8_t restart(core_t *core)
{
    if (!core_at_rest(core)) {
        return STATUS_IN_MOTION;
    }
    if (core->store.writing) {
        return STATUS_BUSY;
    }
    core->restart_in = RESTART_TICKS;
    return STATUS_OK;
}

static uint8_t period_good(uint16_t ms, uint16_t least)
{
    return ms == 0 || (ms >= least && ms % MS_PER_TICK == 0);
}

static uint8_t subscribe(core_t *core, call_t *call)
{
    uint16_t axis_ms = get_u16(call->body + SUBSCRIBE_AXIS_PERIOD_MS_AT);
    uint16_t board_ms = get_u16(call->body + SUBSCRIBE_BOARD_PERIOD_MS_AT);
    if (!period_good(axis_ms, AXIS_PERIOD_LEAST_MS)) {
        return handle_bad_value(call, 1);
    }
    if (!period_good(board_ms, BOARD_PERIOD_LEAST_MS)) {
        return handle_bad_value(call, 2);
    }
    telemetry_subscribe(core, axis_ms / MS_PER_TICK, board_ms / MS_PER_TICK);
    return STATUS_OK;
}

static uint8_t body_min(uint8_t id)
{
    switch (id) {
    case MSG_COUNTERS:
    case MSG_RESTART:
    case MSG_STORE:
    case MSG_DIGESTS:
        return 0;
    case MSG_CLEAR:
    case MSG_OUTCOME:
    case MSG_DRAFT_BEGIN:
    case MSG_DRAFT_CHECK:
    case MSG_DRAFT_COMMIT:
    case MSG_DRAFT_DISCARD:
        return 1;
    case MSG_JOG:
        return JOG_BODY_MIN;
    case MSG_RUN:
        return RUN_BODY_MIN;
    case MSG_SEEK:
        return SEEK_BODY_MIN;
    case MSG_MOVE:
        return MOVE_BODY_MIN;
    case MSG_DRAFT_SET:
        return DRAFT_SET_BODY_MIN;
    case MSG_SETTINGS_GET:
        return SETTINGS_GET_BODY_MIN;
    case MSG_SUBSCRIBE:
        return SUBSCRIBE_BODY_MIN;
    default:
        return NO_SUCH;
    }
}

uint8_t handle_request(core_t *core, call_t *call, uint8_t id)
{
    uint8_t least = body_min(id);
    if (least == NO_SUCH) {
        return STATUS_UNKNOWN_MESSAGE;
    }
    if (call->size < least) {
        return STATUS_MALFORMED;
    }
    switch (id) {
    case MSG_COUNTERS:
        return counters(core, call);
    case MSG_RESTART:
        return restart(core);
    case MSG_SUBSCRIBE:
        return subscribe(core, call);
    default:
        return id < MSG_DRAFT_BEGIN ? handle_motion(core, call, id) : handle_settings(core, call, id);
    }
}
