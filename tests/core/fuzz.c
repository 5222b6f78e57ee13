/* Bytes of all kinds through the whole core, under the address and undefined-behaviour sanitizers.
 *
 *     fuzz SEED TICKS MEMORY      MEMORY: a file of 1024 bytes with settings, put back at most starts
 *
 * Half of what is sent is well formed, with wild fields, so that it gets past the parser. After each tick what must
 * hold whatever comes: outputs sane, no reversal without a tick at 0, no output without a rod, at most two replies
 * and each a good frame. Prints how much was taken.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "book.h"
#include "harness.h"
#include "core/frame.h"

#define CHECK(good)                                                            \
    do {                                                                       \
        if (!(good)) {                                                         \
            printf("tick %lu: broken: %s\n", (unsigned long)board->core.tick, #good);   \
            exit(1);                                                           \
        }                                                                      \
    } while (0)

/* Faults of category 1: a ramp may still be under way. */
#define RAMPED (FAULT_MOVE_SILENCE_BIT | FAULT_FOLLOWING_BIT | FAULT_THERMAL_BIT)

static uint64_t random_state;

static uint32_t any(uint32_t below)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 7;
    random_state ^= random_state << 17;
    return (uint32_t)(random_state >> 16) % below;
}

static const uint8_t IDS[] = {
    MSG_HELLO, MSG_OPEN, MSG_COUNTERS, MSG_STOP, MSG_CLEAR, MSG_JOG, MSG_RUN, MSG_SEEK, MSG_MOVE, MSG_OUTCOME,
    MSG_LEVEL, MSG_HAND_OVER, MSG_CREDIT_OFF, MSG_TRIP_GET, MSG_BLACK_BOX, MSG_TOTALS,
    MSG_DRAFT_BEGIN, MSG_DRAFT_SET, MSG_DRAFT_CHECK, MSG_DRAFT_COMMIT, MSG_DRAFT_DISCARD, MSG_STORE,
    MSG_SETTINGS_GET, MSG_DIGESTS, MSG_SUBSCRIBE, MSG_ALIVE,
};

static uint8_t wild_byte(void)
{
    return (uint8_t)(any(3) ? any(4) : any(256));
}

static uint32_t well_formed(const core_t *core, uint8_t *to)
{
    uint8_t payload[80] = {0};
    uint32_t size = HEADER_SIZE + any(any(4) ? 14 : 60);
    for (uint32_t i = 0; i < size; i++) {
        payload[i] = wild_byte();
    }
    payload[0] = any(20) ? IDS[any(sizeof IDS)] : (uint8_t)any(256);
    if ((payload[0] == MSG_OPEN || payload[0] == MSG_STOP) && core->session.number != 0 && any(30)) {
        payload[0] = core->faults || core->axis[0].faults || core->axis[1].faults ? MSG_CLEAR : MSG_MOVE;
    }
    payload[1] = any(10) ? core->session.number : wild_byte();
    payload[2] = (uint8_t)(core->session.seq + (any(8) ? 1 : 0));
    if (payload[0] == MSG_OPEN && any(4) && size >= HEADER_SIZE + 4) {
        payload[1] = (uint8_t)(1 + any(200));
        memcpy(payload + HEADER_SIZE, &core->noinit->nonce, 2);
        payload[HEADER_SIZE + 2] = 1;
    }
    if (payload[0] == MSG_JOG || payload[0] == MSG_SEEK || payload[0] == MSG_RUN) {
        payload[HEADER_SIZE] = (uint8_t)(1 + (payload[0] == MSG_RUN));
        payload[HEADER_SIZE + 4] = payload[HEADER_SIZE + 5] = any(2) ? 0x00 : 0xFF;
        size = size < HEADER_SIZE + 6 ? HEADER_SIZE + 6 : size;
    }
    if (payload[0] == MSG_ALIVE && size >= HEADER_SIZE + 4) {
        uint32_t tick = core->tick - any(4);
        memcpy(payload + HEADER_SIZE, &tick, 4);
    }
    if (payload[0] == MSG_DRAFT_SET && any(3)) {
        size = HEADER_SIZE + 1 + 5;
        payload[HEADER_SIZE] = core->draft.scope;
        payload[HEADER_SIZE + 1] = (uint8_t)any(5);
        payload[HEADER_SIZE + 2] = (uint8_t)any(2);
        memset(payload + HEADER_SIZE + 3, 0, 3);
    }
    return book_frame(payload, size, to);
}

static uint32_t rubbish(uint8_t *to)
{
    uint32_t size = any(any(10) ? 12 : 150);
    for (uint32_t i = 0; i < size; i++) {
        to[i] = (uint8_t)(any(6) ? any(256) : 0);
    }
    return size;
}

static uint32_t line(const core_t *core, uint8_t *to)
{
    uint32_t size = 0;
    for (uint32_t frames = any(4); frames > 0; frames--) {
        size += any(6) ? well_formed(core, to + size) : rubbish(to + size);
    }
    if (size > 0 && any(12) == 0) {
        to[any(size)] ^= (uint8_t)(1u << any(8));
    }
    return size;
}

static unsigned long replies, unasked, driven, resets, asserted;

static void check_sent(harness_t *board)
{
    uint8_t frame[HARNESS_TX_MAX];
    uint32_t size = 0;
    uint32_t replies_now = 0;
    for (uint32_t i = 0; i < board->tx_size; i++) {
        if (board->tx[i] != 0) {
            frame[size++] = board->tx[i];
            continue;
        }
        CHECK(size <= RX_FRAME_MAX && frame_decode(frame, (uint8_t)size) != FRAME_BAD);
        replies_now += frame[0] >= REPLY_FLAG;
        unasked += frame[0] < REPLY_FLAG;
        size = 0;
    }
    CHECK(size == 0 && replies_now <= 2);
    replies += replies_now;
}

static void check_outputs(harness_t *board, const int16_t *before)
{
    for (int index = 0; index < AXES; index++) {
        int16_t drive = board->outputs.drive[index];
        const settings_axis_t *set = &board->core.live.axis[index];
        CHECK(board->outputs.bridge[index] <= BRIDGE_LAST);
        CHECK((drive != 0) == (board->outputs.bridge[index] == BRIDGE_DRIVE));
        CHECK(drive >= -1000 && drive <= 1000);
        CHECK(drive == 0 || set->feedback == FEEDBACK_POT);
        CHECK((int32_t)drive * before[index] >= 0);
        CHECK(drive == 0 || (board->core.axis[index].faults & ~RAMPED) == 0);
        driven += drive != 0;
    }
}

static uint8_t memory[STORE_SIZE];

/* A board of known supply reads by 1.1 V of 1024 steps that it has less than 4.4 V; 0 steps are no reading. */
static int low_5v(const harness_t *board, const readings_t *in)
{
    return board->core.live.board.board_5v_mv != 0 && in->bandgap > 256;
}

static void reset(harness_t *board)
{
    if (any(4)) {
        memcpy(board->eeprom, memory, sizeof memory);
    }
    for (uint32_t i = 0; any(2) && i < 1 + any(20); i++) {
        ((uint8_t *)&board->noinit)[any(sizeof board->noinit)] = (uint8_t)any(256);
    }
    for (uint32_t i = 0; any(3) == 0 && i < any(3); i++) {
        board->eeprom[any(STORE_SIZE)] = (uint8_t)any(256);
    }
    CHECK(harness_boot(board, (uint8_t)(any(3) ? RESET_FLAG_POWER_ON : any(16)), (uint16_t)any(65536)) == 0);
    memset(&board->outputs, 0, sizeof board->outputs);
    resets++;
}

/* Now and then a reading is another; supply and inputs are mostly as they should be. */
static void change(readings_t *in)
{
    if (any(200) != 0) {
        return;
    }
    in->pot[any(2)] = (uint16_t)(any(2) ? 4000 : any(8185));
    in->current[any(2)] = (uint16_t)any(any(4) ? 200 : 4093);
    in->supply = (uint16_t)(any(4) ? 430 : any(1024));
    in->bandgap = (uint16_t)(any(4) ? 225 : any(1024));
    in->inputs = (uint8_t)(any(8) ? 1 : any(32));
    in->local[any(2)] = (uint16_t)(any(2) ? 500 : any(1024));
}

int main(int count, char **words)
{
    random_state = count > 1 ? strtoull(words[1], NULL, 10) * 2654435761u + 1 : 1;
    unsigned long ticks = count > 2 ? strtoul(words[2], NULL, 10) : 100000;
    FILE *file = count > 3 ? fopen(words[3], "rb") : NULL;
    if (file == NULL || fread(memory, 1, sizeof memory, file) != sizeof memory) {
        printf("no memory\n");
        return 2;
    }
    fclose(file);
    harness_t *board = harness_new();
    uint8_t rx[700];
    readings_t in = {.pot = {4000, 4000}, .supply = 430, .bandgap = 225, .inputs = 1, .ee_ready = 1};
    reset(board);
    for (unsigned long i = 0; i < ticks; i++) {
        int16_t before[AXES] = {board->outputs.drive[0], board->outputs.drive[1]};
        uint32_t size = line(&board->core, rx);
        change(&in);
        for (int index = 0; index < AXES; index++) {        /* the rods follow, in a way */
            int32_t pot = in.pot[index] + board->outputs.drive[index] / 100;
            in.pot[index] = (uint16_t)(pot < 700 ? 700 : pot > 7300 ? 7300 : pot);
        }
        in.ee_ready = any(3) != 0;
        if (harness_tick(board, rx, size, &in) != 0) {
            asserted++;
            break;
        }
        if (board->outputs.ee_write) {
            CHECK(in.ee_ready && board->outputs.ee_address > 0 && board->outputs.ee_address < STORE_SIZE);
            CHECK(!low_5v(board, &in));
            board->eeprom[board->outputs.ee_address] = board->outputs.ee_value;
        }
        check_outputs(board, before);
        check_sent(board);
        if (board->outputs.restart || any(3000) == 0) {
            reset(board);
        }
    }
    CHECK(asserted == 0);
    printf("%lu ticks, %lu replies, %lu unasked, %lu axis ticks with output, %lu resets, %u stores\n", ticks, replies,
           unasked, driven, resets, (unsigned)board->core.store.generation);
    harness_free(board);
    return 0;
}
