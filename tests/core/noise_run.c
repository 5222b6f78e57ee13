/* Noise into the whole core, under the address and undefined-behaviour sanitizers: noise.py builds and starts it.
 *
 * A host has the session and is subscribed; then comes noise. After each burst: no output, the next good request is
 * answered, and board and book have counted the same frames. Now and then a jog is under way: noise must not prolong it.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "harness.h"
#include "noise.h"

#define PER_TICK 125                            /* bytes that 250 000 baud bring */
#define HOLD_AND_RAMP 62                        /* ticks: 50, and from creep 10 of 30 permille each, by SPEC.md 5 and 7 */
#define NONE 0xFFFFFFFFu
#define CHECK(good)                                                                                    \
    do {                                                                                               \
        if (!(good)) {                                                                                 \
            printf("tick %lu: broken: %s\n", (unsigned long)run.board->core.tick, #good);              \
            exit(1);                                                                                   \
        }                                                                                              \
    } while (0)

static struct {
    noise_t noise;
    harness_t *board;
    uint8_t waiting[2 * NOISE_MOST + 1];
    uint32_t left;                              /* of `waiting` */
    uint8_t reply[BOOK_DECODED_MOST];           /* the last one heard */
    uint8_t session, seq;
    uint32_t base;                              /* frames that the board had counted and the book had not */
    uint32_t good, dropped, good_by_book;       /* at the last look */
    uint32_t still;                             /* no output from this tick on */
    unsigned long bytes, bursts, jogs, driven, chances;
} run;

static void look(void)
{
    uint8_t frame[HARNESS_TX_MAX];
    uint8_t payload[HARNESS_TX_MAX];
    uint32_t size = 0;
    for (uint32_t i = 0; i < run.board->tx_size; i++) {
        if (run.board->tx[i] != 0) {
            frame[size++] = run.board->tx[i];
            continue;
        }
        uint32_t got = book_payload(frame, size, payload);
        CHECK(got >= 3);
        if (payload[0] >= REPLY_FLAG) {
            memcpy(run.reply, payload, got);
        }
        size = 0;
    }
    CHECK(size == 0);
    uint8_t drives = run.board->outputs.drive[0] != 0 || run.board->outputs.drive[1] != 0;
    run.driven += drives;
    CHECK(!drives || run.board->core.tick < run.still || run.noise.acts > 0);
}

static void tick(const uint8_t *data, uint32_t size)
{
    static const readings_t IN = {.pot = {4000, 4000}, .supply = 430, .bandgap = 225, .ee_ready = 1};
    CHECK(harness_tick(run.board, data, size, &IN) == 0);
    run.noise.tick = run.board->core.tick;
    if (run.board->outputs.ee_write) {
        run.board->eeprom[run.board->outputs.ee_address] = run.board->outputs.ee_value;
    }
    look();
    if (run.board->outputs.restart) {
        CHECK(run.noise.acts > 0);
        CHECK(harness_boot(run.board, RESET_FLAG_WATCHDOG, 4660) == 0);
    }
}

static void quiet(uint32_t ticks)
{
    for (; ticks > 0; ticks--) {
        tick(NULL, 0);
    }
}

/* A request after a zero that ends whatever stood before it. It must be answered within four ticks. */
static uint8_t ask(uint8_t id, uint8_t session, uint8_t seq, const uint8_t *body, uint32_t size)
{
    uint8_t payload[BOOK_DECODED_MOST] = {id, session, seq};
    uint8_t frame[BOOK_ENCODED_MOST + 2] = {0};
    if (size > 0) {
        memcpy(payload + 3, body, size);
    }
    uint32_t length = 1 + book_frame(payload, 3 + size, frame + 1);
    noise_hear(&run.noise, frame, length);
    memset(run.reply, 0, sizeof run.reply);
    tick(frame, length);
    for (uint32_t waits = 0; waits < 3 && run.reply[0] == 0; waits++) {
        tick(NULL, 0);
    }
    CHECK(run.reply[0] == (id | REPLY_FLAG) && run.reply[1] == session && run.reply[2] == seq);
    return run.reply[7];
}

static uint8_t ask_next(uint8_t id, const uint8_t *body, uint32_t size)
{
    run.noise.seq = ++run.seq;
    return ask(id, run.session, run.seq, body, size);
}

/* The frames that the board has counted: good, bad, dropped. Of the good ones none may be lost but those dropped. */
static uint32_t counted(void)
{
    CHECK(ask_next(MSG_COUNTERS, NULL, 0) == STATUS_OK);
    uint32_t good;
    uint16_t bad_dropped[2];
    memcpy(&good, run.reply + 14, sizeof good);
    memcpy(bad_dropped, run.reply + 18, sizeof bad_dropped);
    uint32_t found = good - run.good + (uint16_t)(bad_dropped[1] - run.dropped);
    CHECK(run.base == NONE || found >= run.noise.good - run.good_by_book);
    run.good = good;
    run.dropped = bad_dropped[1];
    run.good_by_book = run.noise.good;
    return (good + bad_dropped[0] + bad_dropped[1]) & 0xFFFFu;
}

static void open_session(void)
{
    static const uint8_t STOP_ALL[2] = {0, 0};
    static const uint8_t CLEAR_ALL[1] = {0};
    static const uint8_t PERIODS[4] = {10, 0, 50, 0};
    ask(MSG_STOP, 1, 1, STOP_ALL, 2);
    quiet(400);
    ask(MSG_HELLO, 0, 0, NULL, 0);
    uint8_t nonce_and_version[4] = {run.reply[16], run.reply[17], 1, 0};
    run.noise.nonce = run.reply[16] | (uint32_t)run.reply[17] << 8;
    do {
        run.session = (uint8_t)(1 + run.session % 255);
        run.seq = (uint8_t)noise_any(&run.noise, 256);
    } while (ask(MSG_OPEN, run.session, run.seq, nonce_and_version, 4) != STATUS_OK);
    run.noise.session = run.session;
    run.noise.seq = run.seq;
    CHECK(ask_next(MSG_CLEAR, CLEAR_ALL, 1) == STATUS_OK);
    CHECK(ask_next(MSG_SUBSCRIBE, PERIODS, 4) == STATUS_OK);
    run.noise.acts = 0;
    run.base = NONE;
    run.base = (counted() - run.noise.runs) & 0xFFFFu;
}

static void some(uint32_t most)
{
    uint32_t size = noise_any(&run.noise, most + 1);
    size = size > run.left ? run.left : size;
    tick(run.waiting, size);
    run.bytes += size;
    run.left -= size;
    memmove(run.waiting, run.waiting + size, run.left);
}

/* Some bursts are so slow that the queue has room for all. */
static void burst(uint32_t ticks)
{
    uint32_t most = noise_any(&run.noise, 4) ? PER_TICK : 30;
    for (; ticks > 0; ticks--) {
        while (run.left < PER_TICK && run.noise.acts == 0) {
            run.left += noise_next(&run.noise, run.waiting + run.left);
        }
        some(most);
    }
    run.left += noise_end(&run.noise, run.waiting + run.left);
    while (run.left > 0) {
        some(most);
    }
}

static void jog(void)
{
    static const uint8_t BODY[6] = {1, JOG_UNIT_OUTPUT, 0xE8, 0x03};
    run.still = run.board->core.tick + HOLD_AND_RAMP;
    CHECK(ask_next(MSG_JOG, BODY, sizeof BODY) == STATUS_OK);
    CHECK(run.board->core.axis[0].motion != 0);
    run.jogs++;
}

int main(int count, char **words)
{
    if (count < 4) {
        return 2;
    }
    run.board = harness_new();
    FILE *file = fopen(words[3], "rb");
    if (file == NULL || fread(run.board->eeprom, 1, STORE_SIZE, file) != STORE_SIZE) {
        return 2;
    }
    fclose(file);
    noise_start(&run.noise, strtoull(words[1], NULL, 10));
    unsigned long most = strtoul(words[2], NULL, 10);
    CHECK(harness_boot(run.board, RESET_FLAG_POWER_ON, 4660) == 0);
    open_session();
    while (run.bytes < most) {
        if (run.bursts++ % 8 == 0) {
            jog();
        }
        burst(10 + noise_any(&run.noise, 200));
        quiet(3);
        if (run.noise.acts > 0) {
            run.chances += run.noise.acts;
            open_session();
        } else {
            CHECK(counted() == ((run.base + run.noise.runs) & 0xFFFFu));
        }
    }
    CHECK(run.noise.undamaged == 0);
    printf("%lu bytes, %u frames, %u good, %u of them requests with zeros at their end, %lu requests by chance (1 in 65536 would be %u), "
           "%lu bursts, %lu jogs, %lu ticks with output\n", run.bytes, run.noise.runs, run.noise.good, run.noise.stretched,
           run.chances - run.noise.stretched, (run.noise.runs - run.noise.good) >> 16, run.bursts, run.jogs, run.driven);
    harness_free(run.board);
    return 0;
}
