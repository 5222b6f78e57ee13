#include "handle.h"

#include "blackbox.h"
#include "bytes.h"
#include "handle_motion.h"
#include "handle_settings.h"
#include "hot.h"
#include "local.h"
#include "port.h"
#include "telemetry.h"
#include "trips.h"

#define RESTART_TICKS 6                 /* time for the reply to leave */
#define MS_PER_TICK 5
#define AXIS_PERIOD_LEAST_MS 10
#define BOARD_PERIOD_LEAST_MS 50
#define NO_SUCH 0xFF
#define COUNTERS_SIZE (COUNTERS_REPLY_BODY_SIZE - COUNTERS_REPLY_REQUESTS_DONE_AT)

_Static_assert(offsetof(counters_t, worst_tick_us) + 2 == COUNTERS_SIZE, "counters_t is laid out as its reply");

uint8_t handle_bad_value(call_t *call, uint8_t place)
{
    call->detail = place;
    return STATUS_BAD_VALUE;
}

/* What every hello of this firmware says, between its changing parts. */
static const uint8_t PROTOCOL[] CORE_ROM = {
    PROTOCOL_MAJOR, PROTOCOL_MINOR, SCHEMA_DIGEST & 0xFF, SCHEMA_DIGEST >> 8 & 0xFF, SCHEMA_DIGEST >> 16 & 0xFF,
    SCHEMA_DIGEST >> 24,
};
static const uint8_t BOARD[] CORE_ROM = {
    FIRMWARE_MAJOR, FIRMWARE_MINOR, FIRMWARE_PATCH, CORE_BOARD_KIND, CORE_BOARD_AXES,
    (CORE_BOARD_AXES > 1 ? FEATURES_TWO_AXES : 0) | (CORE_GANG ? FEATURES_GANG : 0) | FEATURES_CURRENT_SENSE | FEATURES_SUPPLY_SENSE |
        FEATURES_TRIP_LOG | (CORE_BLACK_BOX ? FEATURES_BLACK_BOX : 0) | (CORE_LOCAL_INPUTS ? FEATURES_LOCAL_CONTROL : 0),
    0,
};
static const uint8_t ANALOG[] CORE_ROM = {
    CORE_FULL_SCALE & 0xFF, CORE_FULL_SCALE >> 8, CORE_REFERENCE_MV & 0xFF, CORE_REFERENCE_MV >> 8,
};
/* The name, and behind it current_full_scale. */
static const struct __attribute__((packed)) {
    char name[HELLO_REPLY_NAME_SIZE];
    uint16_t current_full_scale;
} NAME CORE_ROM = {FIRMWARE_NAME, CORE_CURRENT_FULL_SCALE};

static uint8_t *put_rom(uint8_t *at, const void *from, uint8_t size)
{
    CORE_ROM_COPY(at, from, size);
    return at + size;
}

uint8_t handle_hello(core_t *core, call_t *call)
{
    uint8_t *at = put_rom(call->end, PROTOCOL, sizeof PROTOCOL);
    at = put_u16(at, core->noinit->nonce);
    at = put_rom(at, BOARD, sizeof BOARD);
    at = put_u8(at, core->reset_cause);
    at = put_rom(at, ANALOG, sizeof ANALOG);
    at = put_u32(at, core->live.board.board_id);
    at = put_u32(at, core_live_digest(core));
    at = put_u32(at, core->store.digest);
    call->end = put_rom(at, &NAME, sizeof NAME);
    return STATUS_OK;
}

/* A late copy of an open that another has replaced must not take the board back. */
static uint8_t was_open(const session_t *session, uint8_t number)
{
    return memchr(session->recent, number, SESSIONS_RECENT) != NULL;
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
    if (was_open(&core->session, session)) {
        return STATUS_SESSION_IN_USE;
    }
    core->session.recent[core->session.opens++ % SESSIONS_RECENT] = session;
    core->session.number = session;
    core->session.seq = seq;
    core->session.newest_alive = core->tick;
    draft_drop(&core->draft);
    telemetry_subscribe(core, 0, 0);
    for (uint8_t index = 0; index < AXES; index++) {
        if (!local_commands(core, index)) {
            core_stop(core, index, 1, ENDED_SESSION);
        }
    }
    return STATUS_OK;
}

/* counters_t is laid out as its reply. */
static uint8_t counters(core_t *core, call_t *call)
{
    call->end = put_bytes(call->end, &core->counters, COUNTERS_SIZE);
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

static uint8_t trip_get(core_t *core, call_t *call)
{
    trip_t *trip = (trip_t *)call->end;
    call->end += offsetof(trip_t, check);
    return trips_get(core, trip, call->body[TRIP_GET_AGE_AT]);
}

static uint8_t black_box(core_t *core, call_t *call, uint8_t index)
{
    const blackbox_t *box = &core->noinit->box;
    if (!CORE_BLACK_BOX) {
        return STATUS_NOTHING_KEPT;
    }
    uint8_t *at = put_bytes(call->end, box, BLACK_BOX_REPLY_ITEMS_AT - BLACK_BOX_REPLY_TRIP_AXIS_AT);
    call->end = blackbox_items(box, index, call->body[BLACK_BOX_FIRST_AT], at);
    return box->fault == 0 ? STATUS_NOTHING_KEPT : STATUS_OK;
}

static uint8_t of_axis(core_t *core, call_t *call, uint8_t id)
{
    uint8_t index = (uint8_t)(call->body[0] - 1);
    if (index >= CORE_BOARD_AXES) {
        return handle_bad_value(call, 1);
    }
    if (id == MSG_BLACK_BOX) {
        return black_box(core, call, index);
    }
    call->end = put_bytes(call->end, &core->noinit->totals.now.axis[index], sizeof(total_t));
    return STATUS_OK;
}

/* Requests by id, with the least that their bodies may be. */
static const uint8_t REQUESTS[][2] CORE_ROM = {
    {MSG_COUNTERS, COUNTERS_BODY_MIN},
    {MSG_RESTART, RESTART_BODY_MIN},
    {MSG_JOG, JOG_BODY_MIN},
    {MSG_RUN, RUN_BODY_MIN},
    {MSG_SEEK, SEEK_BODY_MIN},
    {MSG_MOVE, MOVE_BODY_MIN},
    {MSG_LEVEL, LEVEL_BODY_MIN},
    {MSG_CLEAR, CLEAR_BODY_MIN},
    {MSG_OUTCOME, OUTCOME_BODY_MIN},
    {MSG_HAND_OVER, HAND_OVER_BODY_MIN},
    {MSG_CREDIT_OFF, CREDIT_OFF_BODY_MIN},
    {MSG_DRAFT_BEGIN, DRAFT_BEGIN_BODY_MIN},
    {MSG_DRAFT_SET, DRAFT_SET_BODY_MIN},
    {MSG_DRAFT_CHECK, DRAFT_CHECK_BODY_MIN},
    {MSG_DRAFT_COMMIT, DRAFT_COMMIT_BODY_MIN},
    {MSG_DRAFT_DISCARD, DRAFT_DISCARD_BODY_MIN},
    {MSG_STORE, STORE_BODY_MIN},
    {MSG_SETTINGS_GET, SETTINGS_GET_BODY_MIN},
    {MSG_DIGESTS, DIGESTS_BODY_MIN},
    {MSG_TRIP_GET, TRIP_GET_BODY_MIN},
    {MSG_BLACK_BOX, BLACK_BOX_BODY_MIN},
    {MSG_TOTALS, TOTALS_BODY_MIN},
    {MSG_SUBSCRIBE, SUBSCRIBE_BODY_MIN},
};

static uint8_t body_min(uint8_t id)
{
    for (uint8_t n = 0; n < sizeof REQUESTS / sizeof REQUESTS[0]; n++) {
        if (CORE_ROM_READ_U8(&REQUESTS[n][0]) == id) {
            return CORE_ROM_READ_U8(&REQUESTS[n][1]);
        }
    }
    return NO_SUCH;
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
    case MSG_CREDIT_OFF:
        return hot_credit(core, get_u32(call->body + CREDIT_OFF_OFF_S_AT));
    case MSG_TRIP_GET:
        return trip_get(core, call);
    case MSG_BLACK_BOX:
    case MSG_TOTALS:
        return of_axis(core, call, id);
    case MSG_HAND_OVER:
        return local_hand_over(core, call);
    default:
        return id < MSG_DRAFT_BEGIN ? handle_motion(core, call, id) : handle_settings(core, call, id);
    }
}
