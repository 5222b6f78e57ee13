#include "noise.h"

#include <string.h>

#include "generated/schema.h"

#define HEAD 3
#define CRC 2

uint32_t noise_size(void)
{
    return sizeof(noise_t);
}

void noise_start(noise_t *noise, uint64_t seed)
{
    memset(noise, 0, sizeof *noise);
    noise->random = seed * 2654435761u + 1;
}

uint32_t noise_any(noise_t *noise, uint32_t below)
{
    noise->random ^= noise->random << 13;
    noise->random ^= noise->random >> 7;
    noise->random ^= noise->random << 17;
    return (uint32_t)(noise->random >> 16) % below;
}

#define any(below) noise_any(noise, below)

/* ---------------------------------------------------------------- the receiver by the book */

static uint32_t number(const uint8_t *at, uint32_t size)
{
    uint32_t value = 0;
    for (uint32_t i = size; i-- > 0;) {
        value = value << 8 | at[i];
    }
    return value;
}

/* Whether a board carries it out, whatever comes of that: by SPEC.md, sections 4 and 5. */
static int carried_out(const noise_t *noise, const uint8_t *payload, uint32_t size)
{
    uint8_t id = payload[0];
    if (id == MSG_STOP) {
        return 1;
    }
    if (id == MSG_OPEN) {
        return size >= HEAD + 2 && number(payload + HEAD, 2) == noise->nonce;
    }
    if (payload[1] != noise->session || id == MSG_HELLO) {
        return 0;
    }
    if (id == MSG_ALIVE) {
        return size >= HEAD + 4 && number(payload + HEAD, 4) <= noise->tick;
    }
    return id < MSG_ALIVE && payload[2] == (uint8_t)(noise->seq + 1);
}

static uint32_t without_zeros(const uint8_t *data, uint32_t size)
{
    while (size > 0 && data[size - 1] == 0) {
        size--;
    }
    return size;
}

static void end_of_run(noise_t *noise)
{
    uint8_t decoded[NOISE_FRAME];
    uint32_t size = book_payload(noise->run, noise->fill, decoded);
    noise->runs += noise->fill > 0;
    noise->fill = 0;
    if (size == 0) {
        return;
    }
    noise->good++;
    if (!carried_out(noise, decoded, size)) {
        return;
    }
    uint32_t bare = without_zeros(decoded, size + CRC);
    uint32_t same = bare == without_zeros(noise->own, noise->own_size) && memcmp(decoded, noise->own, bare) == 0;
    noise->acts++;
    noise->stretched += same && size + CRC != noise->own_size;
    noise->undamaged += same && size + CRC == noise->own_size;
}

static void listen(noise_t *noise, const uint8_t *data, uint32_t size)
{
    for (uint32_t i = 0; i < size; i++) {
        if (data[i] == 0) {
            end_of_run(noise);
        } else if (noise->fill <= BOOK_ENCODED_MOST) {
            noise->run[noise->fill++] = data[i];
        }
    }
}

void noise_hear(noise_t *noise, const uint8_t *data, uint32_t size)
{
    uint32_t acts = noise->acts;
    noise->own_size = 0;
    listen(noise, data, size);
    noise->acts = acts;                         /* the driver knows what it asks for */
}

/* ---------------------------------------------------------------- what is sent */

static const uint8_t MOTIONS[] = {MSG_JOG, MSG_RUN, MSG_SEEK, MSG_MOVE, MSG_LEVEL};
static const uint8_t IDS[] = {
    MSG_OPEN, MSG_STOP, MSG_CLEAR, MSG_RESTART, MSG_HAND_OVER, MSG_DRAFT_BEGIN, MSG_DRAFT_SET, MSG_DRAFT_COMMIT,
    MSG_STORE, MSG_SETTINGS_GET, MSG_SUBSCRIBE, MSG_ALIVE, MSG_ALIVE, MSG_COUNTERS,
};

static uint32_t put(uint8_t *to, uint32_t value, uint32_t size)
{
    for (uint32_t i = 0; i < size; i++) {
        to[i] = (uint8_t)(value >> 8 * i);
    }
    return size;
}

/* A request of the host that a board would carry out: mostly a motion of a rod. */
static uint32_t plain_request(noise_t *noise, uint8_t *payload)
{
    uint32_t size = HEAD;
    uint8_t id = any(3) ? MOTIONS[any(sizeof MOTIONS)] : IDS[any(sizeof IDS)];
    payload[0] = id;
    payload[1] = (uint8_t)noise->session;
    payload[2] = (uint8_t)(noise->seq + 1);
    if (id == MSG_ALIVE) {
        return size + put(payload + size, noise->tick, 4);
    }
    if (id == MSG_OPEN) {
        payload[1] = (uint8_t)(1 + any(255));
        size += put(payload + size, noise->nonce, 2);
        return size + put(payload + size, 1, 2);
    }
    payload[size++] = (uint8_t)(1 + any(2));    /* the axis, or a scope */
    if (id == MSG_JOG) {
        payload[size] = (uint8_t)(payload[size - 1] == 2);
        size++;
    }
    if (id == MSG_RUN || id == MSG_SEEK) {
        return size + put(payload + size, any(2) ? 1u : (uint32_t)-1, id == MSG_RUN ? 2 : 1);
    }
    size += put(payload + size, (any(2) ? 300u : 90000u) * (any(2) ? 1u : (uint32_t)-1), 4);
    return id == MSG_MOVE ? size + put(payload + size, 0, 4) : size;
}

/* Now and then with a tail that the board does not know. */
static uint32_t request(noise_t *noise, uint8_t *payload)
{
    uint32_t size = plain_request(noise, payload);
    for (uint32_t more = any(6) ? 0 : any(45); more > 0; more--) {
        payload[size++] = (uint8_t)any(256);
    }
    return size;
}

/* Cuts out, puts in, turns over. Returns the new size. */
static uint32_t damage(noise_t *noise, uint8_t *frame, uint32_t size)
{
    uint32_t at = any(size);
    switch (any(7)) {
    case 0:
    case 1:
        frame[at] ^= (uint8_t)(1u << any(8));
        return size;
    case 2:
        frame[at] = (uint8_t)any(256);
        return size;
    case 3:                                     /* a byte lost */
        memmove(frame + at, frame + at + 1, size - at - 1);
        return size - 1;
    case 4:                                     /* a byte more */
        memmove(frame + at + 1, frame + at, size - at);
        frame[at] = (uint8_t)(any(2) ? any(256) : 0);
        return size + 1;
    case 5:                                     /* cut off, with or without its end */
        frame[at] = 0;
        return at + any(2);
    default:                                    /* a piece twice */
        memmove(frame + size, frame + at, size - at);
        return size + size - at;
    }
}

/* A request, damaged until the receiver by the book no longer finds it, not even when a zero follows. */
static uint32_t damaged(noise_t *noise, uint8_t *to)
{
    uint32_t of = request(noise, noise->own);
    noise->own_size = of + CRC;
    for (;;) {
        uint32_t size = book_frame(noise->own, of, to);
        for (uint32_t times = 1 + any(3); times > 0 && size > 0 && size < NOISE_MOST / 2; times--) {
            size = damage(noise, to, size);
        }
        noise_t after = *noise;
        listen(&after, to, size);
        listen(&after, (const uint8_t[]){0}, 1);
        if (after.undamaged == noise->undamaged) {
            return size;
        }
    }
}

/* A whole frame that a board must refuse or ignore: of another session, out of sequence, of a future tick, of its own
 * kind. */
static uint32_t refused(noise_t *noise, uint8_t *to)
{
    uint8_t payload[NOISE_FRAME];
    uint32_t size = request(noise, payload);
    while (payload[0] == MSG_STOP || payload[0] == MSG_OPEN) {
        size = request(noise, payload);
    }
    switch (any(4)) {
    case 0:
        payload[1] ^= (uint8_t)(1u << any(8));
        break;
    case 1:
        payload[2] = (uint8_t)(payload[2] + 1 + any(200));
        if (payload[0] == MSG_ALIVE) {
            put(payload + HEAD, noise->tick + 1000 + any(1u << 30), 4);
        }
        break;
    case 2:
        payload[0] |= REPLY_FLAG;
        break;
    default:
        payload[0] = (uint8_t)(0x61 + any(0x1F));
        break;
    }
    return book_frame(payload, size, to);
}

static uint32_t rubbish(noise_t *noise, uint8_t *to)
{
    static const uint32_t ZEROS[] = {3, 12, 60, 1000};
    uint32_t size = 1 + any(any(10) ? 40 : NOISE_MOST);
    uint32_t zeros = ZEROS[any(4)];
    for (uint32_t i = 0; i < size; i++) {
        to[i] = (uint8_t)(any(zeros) ? any(any(2) ? 256 : 70) : 0);
    }
    return size;
}

uint32_t noise_next(noise_t *noise, uint8_t *to)
{
    uint32_t kind = any(10);
    noise->own_size = 0;
    uint32_t size = kind < 3 ? rubbish(noise, to) : kind < 8 ? damaged(noise, to) : refused(noise, to);
    listen(noise, to, size);
    return size;
}

uint32_t noise_end(noise_t *noise, uint8_t *to)
{
    to[0] = 0;
    listen(noise, to, 1);
    return 1;
}
