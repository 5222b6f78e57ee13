#include "dispatch.h"

#include "bytes.h"
#include "frame.h"
#include "handle.h"
#include "handle_motion.h"
#include "port.h"

#define FIRST_ONE_WAY MSG_ALIVE         /* ids from here on are no requests */

/* What no handler answers is as short as a stop's reply, and that fits where a stop came in; the rest fits a slot. */
_Static_assert(HANDLE_REPLY_HEAD <= STOP_FRAME_MAX && FRAME_MAX - 2 <= RX_FRAME_MAX, "replies fit their request's place");

/* Fills in the head of a reply; on any status but ok it is the whole reply. */
static uint8_t finish(core_t *core, const call_t *call, const uint8_t *request, uint8_t status)
{
    uint8_t *at = put_u8(call->reply, request[0] | REPLY_FLAG);
    at = put_u8(at, request[1]);
    at = put_u8(at, request[2]);
    at = put_u32(at, core->tick);
    at = put_u8(at, status);
    at = put_u16(at, call->detail);
    return (uint8_t)((status == STATUS_OK ? call->end : at) - call->reply);
}

static uint16_t crc_of(const uint8_t *frame, uint8_t size)
{
    return (uint16_t)((uint16_t)frame[size] << 8 | frame[size + 1]);         /* still behind the payload */
}

static uint8_t is_repeat(const session_t *session, const uint8_t *frame, uint8_t size)
{
    return session->number != 0 && frame[1] == session->number && frame[2] == session->seq &&
           size == session->request_size && crc_of(frame, size) == session->request_crc;
}

/* A reply takes the place of its request, unless it is to be remembered: then it is built where it stays. */
static void reply_in(call_t *call, uint8_t *place)
{
    call->reply = place;
    call->end = place + HANDLE_REPLY_HEAD;
}

static CORE_ONCE uint8_t answer(core_t *core, const call_t *call, const uint8_t *frame, uint8_t status)
{
    uint8_t reply_size = finish(core, call, frame, status);
    tx_reply(&core->tx, call->reply, reply_size);
    return reply_size;
}

static CORE_ONCE void answer_and_keep(core_t *core, call_t *call, const uint8_t *frame, uint8_t size, uint8_t status)
{
    session_t *session = &core->session;
    session->seq = frame[2];
    session->request_size = size;
    session->request_crc = crc_of(frame, size);
    session->reply_size = answer(core, call, frame, status);
}

/* A request that only the open session may send: new, or out of order. */
static void in_sequence(core_t *core, call_t *call, const uint8_t *frame, uint8_t size)
{
    if (frame[2] != (uint8_t)(core->session.seq + 1)) {
        answer(core, call, frame, STATUS_SEQUENCE);
        return;
    }
    core->counters.requests_done++;
    reply_in(call, core->session.reply);
    answer_and_keep(core, call, frame, size, handle_request(core, call, frame[0]));
}

static void take_open(core_t *core, call_t *call, const uint8_t *frame, uint8_t size)
{
    uint8_t status = handle_open(core, call, frame[1], frame[2]);
    if (status != STATUS_OK) {
        answer(core, call, frame, status);
        return;
    }
    reply_in(call, core->session.reply);
    answer_and_keep(core, call, frame, size, status);
}

static void take_request(core_t *core, uint8_t *frame, uint8_t size, uint8_t barred)
{
    call_t call = {.body = frame + HEADER_SIZE, .size = (uint8_t)(size - HEADER_SIZE), .barred = barred};
    reply_in(&call, frame);
    if (frame[0] == MSG_HELLO) {
        answer(core, &call, frame, handle_hello(core, &call));
    } else if (frame[0] == MSG_STOP) {
        answer(core, &call, frame, handle_stop(core, &call));
    } else if (is_repeat(&core->session, frame, size)) {
        core->counters.repeats++;
        tx_reply(&core->tx, core->session.reply, core->session.reply_size);
    } else if (frame[0] == MSG_OPEN) {
        take_open(core, &call, frame, size);
    } else if (core->session.number == 0 || frame[1] != core->session.number) {
        answer(core, &call, frame, STATUS_NO_SESSION);
    } else {
        in_sequence(core, &call, frame, size);
    }
}

/* An echo counts when it is of this session, of the past, and not older than the newest. */
static CORE_ONCE void take_alive(core_t *core, const uint8_t *frame, uint8_t size)
{
    session_t *session = &core->session;
    uint32_t echo = size >= HEADER_SIZE + ALIVE_BODY_MIN ? get_u32(frame + HEADER_SIZE) : core->tick + 1;
    uint32_t age = core->tick - echo;
    if (session->number == 0 || frame[1] != session->number || age > core->tick - session->newest_alive) {
        core->counters.alive_ignored++;
        return;
    }
    session->newest_alive = echo;
    for (uint8_t index = 0; index < AXES; index++) {
        axis_renew(&core->axis[index], echo);
    }
}

/* Frames that are none count as bad; then nothing is known of their sender. */
static CORE_ONCE uint8_t decode(core_t *core, uint8_t *frame, uint8_t size)
{
    uint8_t payload = frame_decode(frame, size);
    if (payload == FRAME_BAD) {
        core->counters.frames_bad++;
    } else {
        core->counters.frames_good++;
    }
    return payload;
}

/* Frames that wait beside a stop may start no motion: they may have been sent before it. */
static void take_stop(core_t *core)
{
    rx_t *rx = &core->rx;
    if (rx->stop_length == 0) {
        return;
    }
    uint8_t size = decode(core, rx->stop, rx->stop_length);
    if (size != FRAME_BAD) {
        core->barred = rx_waiting(rx);
        take_request(core, rx->stop, size, 0);
    }
    rx->stop_length = 0;
}

/* Takes the oldest frame. Returns 1 when it was a request. */
static uint8_t take_frame(core_t *core, uint8_t *frame, uint8_t size)
{
    size = decode(core, frame, size);
    if (size == FRAME_BAD) {
        return 0;
    }
    if (frame[1] == core->session.number) {
        core->heard = (uint16_t)core->tick;
    }
    if (frame[0] < FIRST_ONE_WAY) {
        take_request(core, frame, size, core->barred != 0);
        return 1;
    }
    if (frame[0] == MSG_ALIVE) {
        take_alive(core, frame, size);
    }
    return 0;                                   /* one-way ids unknown here are ignored */
}

static void take_over_counts(core_t *core)
{
    uint8_t bad = core->rx.bad;
    uint8_t dropped = core->rx.dropped;
    core->counters.frames_bad = (uint16_t)(core->counters.frames_bad + (uint8_t)(bad - core->seen_bad));
    core->counters.frames_dropped = (uint16_t)(core->counters.frames_dropped + (uint8_t)(dropped - core->seen_dropped));
    core->seen_bad = bad;
    core->seen_dropped = dropped;
}

void dispatch_tick(core_t *core)
{
    uint8_t size;
    uint8_t *frame;
    uint8_t done = 0;
    take_over_counts(core);
    if (core->restart_in != 0 || !tx_room_for_replies(&core->tx)) {
        return;
    }
    take_stop(core);
    for (uint8_t left = RX_SLOTS; left > 0 && !done && (frame = rx_head(&core->rx, &size)) != NULL; left--) {
        done = take_frame(core, frame, size);
        core->barred = (uint8_t)(core->barred ? core->barred - 1 : 0);
        rx_pop(&core->rx);
    }
}
