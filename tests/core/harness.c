#include "harness.h"

#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

#include "core/digest.h"

static harness_t *running;              /* ee_read and core_assert_failed have no argument for it */
static jmp_buf asserted;

void core_assert_failed(void)
{
    if (running == NULL) {
        abort();
    }
    noinit_mark(&running->noinit, RESET_CAUSE_ASSERTION);
    longjmp(asserted, 1);
}

static uint8_t ee_read(uint16_t address)
{
    running->ee_waits += running->ee_busy;
    return running->eeprom[address % STORE_SIZE];
}

harness_t *harness_new(void)
{
    harness_t *board = calloc(1, sizeof *board);
    memset(board->eeprom, 0xFF, sizeof board->eeprom);
    return board;
}

void harness_free(harness_t *board)
{
    free(board);
}

int harness_boot(harness_t *board, uint8_t reset_flags, uint16_t nonce_seed)
{
    running = board;
    if (setjmp(asserted) != 0) {
        running = NULL;
        return HARNESS_ASSERTED;
    }
    core_init(&board->core, &board->noinit, reset_flags, nonce_seed, ee_read);
    running = NULL;
    return 0;
}

static void copy_axis(harness_t *board, uint8_t index)
{
    const axis_t *axis = &board->core.axis[index];
    const duty_t *duty = &board->noinit.duty[index];
    const total_t *total = &board->noinit.totals.now.axis[index];
    board->state.axis[index] = (harness_axis_t){
        board->outputs.drive[index], board->outputs.bridge[index], board->outputs.driver[index],
        axis->state, axis->flags, axis->ended, axis->cause, axis->motion, axis->raw, axis->faults, axis->position_um, axis->speed_um_s,
        axis->reference_um, axis->current_ma, axis->output_permille, axis->rest_raw, axis->rest_position_um,
        axis->current_before_ma, axis->current_stop_ma, axis->current_probe_ma, axis->on_ticks,
        duty_used(duty), duty_total(duty), total->on_s, total->starts, total->travel_mm, axis->also,
    };
}

static void copy_state(harness_t *board)
{
    const core_t *core = &board->core;
    harness_state_t *state = &board->state;
    state->tick = core->tick;
    state->faults = core->faults;
    copy_axis(board, 0);
    copy_axis(board, 1);
    state->supply_mv = core->supply_mv;
    state->board_5v_mv = core->board_5v_mv;
    state->ee_write = board->outputs.ee_write;
    state->ee_address = board->outputs.ee_write ? board->outputs.ee_address : 0;
    state->ee_value = board->outputs.ee_write ? board->outputs.ee_value : 0;
    state->restart = board->outputs.restart;
    state->alarm = board->outputs.alarm;
    state->requests_done = core->counters.requests_done;
    state->frames_good = core->counters.frames_good;
    state->frames_bad = core->counters.frames_bad;
    state->frames_dropped = core->counters.frames_dropped;
    state->repeats = core->counters.repeats;
    state->alive_ignored = core->counters.alive_ignored;
    state->unasked_dropped = core->counters.unasked_dropped;
    state->session = core->session.number;
    state->draft = core->draft.scope;
    state->storing = core->store.writing != 0;
    state->trips = core->trips.number;
    state->trips_waiting = core->trips.waiting;
    state->box_fault = board->noinit.box.fault;
    state->box_count = board->noinit.box.count;
    state->totals_pause = board->noinit.totals.pause;
    state->heat[0] = board->noinit.duty[0].heat;
    state->heat[1] = board->noinit.duty[1].heat;
    state->cover = core->hot.cover;
    state->digest_stored = core->store.digest;
}

static void drain(harness_t *board)
{
    int16_t byte;
    board->tx_size = 0;
    while ((byte = core_tx_byte(&board->core)) >= 0) {
        board->tx[board->tx_size++] = (uint8_t)byte;
    }
}

int harness_tick(harness_t *board, const uint8_t *rx, uint32_t rx_size, const readings_t *in)
{
    running = board;
    if (setjmp(asserted) != 0) {
        running = NULL;
        return HARNESS_ASSERTED;
    }
    for (uint32_t i = 0; i < rx_size; i++) {
        core_rx_byte(&board->core, rx[i]);
    }
    board->ee_busy = !in->ee_ready;
    core_tick(&board->core, in, &board->outputs);
    board->ee_busy = 0;
    drain(board);
    copy_state(board);
    running = NULL;
    return 0;
}

void harness_end_pause(harness_t *board)
{
    board->noinit.totals.pause = 1;
}

void harness_warm(harness_t *board, uint8_t index, uint32_t heat)
{
    board->noinit.duty[index].heat = heat;
}

void harness_spoil_box(harness_t *board)
{
    board->noinit.box.at = 0xEE;
}

uint32_t harness_ee_waits(const harness_t *board)
{
    return board->ee_waits;
}

uint8_t *harness_eeprom(harness_t *board)
{
    return board->eeprom;
}

uint8_t *harness_noinit(harness_t *board)
{
    return (uint8_t *)&board->noinit;
}

uint32_t harness_noinit_size(void)
{
    return sizeof(noinit_t);
}

const uint8_t *harness_tx(const harness_t *board)
{
    return board->tx;
}

uint32_t harness_tx_size(const harness_t *board)
{
    return board->tx_size;
}

const uint8_t *harness_state(const harness_t *board)
{
    return (const uint8_t *)&board->state;
}

uint32_t harness_state_size(void)
{
    return sizeof(harness_state_t);
}

core_t *harness_core(harness_t *board)
{
    return &board->core;
}

outputs_t *harness_outputs(harness_t *board)
{
    return &board->outputs;
}

uint32_t harness_digest_live(const harness_t *board)
{
    return digest_of(&board->core.live, sizeof board->core.live);
}

void harness_left(harness_t *board, uint16_t ticks)
{
    board->core.heard = (uint16_t)(board->core.heard - ticks);
}

duty_t *harness_duty(harness_t *board, uint8_t index)
{
    return &board->noinit.duty[index];
}

void harness_tear(harness_t *board, uint8_t index, uint8_t how)
{
    duty_copy_t *copy = board->noinit.duty[index].copy;
    uint8_t newer = copy[1].turn == (uint8_t)(copy[0].turn + 1);
    if (how == 1) {
        copy[newer ^ 1] = copy[newer];                  /* so that the good one is the other */
    }
    copy[how == 1 ? newer : newer ^ 1].check ^= 0x0400;
    if (how == 2) {
        copy[newer].check ^= 0x0400;
    }
}

void harness_duty_run(harness_t *board, uint8_t index, uint8_t *wishes, uint32_t count, uint32_t budget)
{
    duty_t *duty = &board->noinit.duty[index];
    for (uint32_t i = 0; i < count; i++) {
        wishes[i] = wishes[i] && duty_used(duty) + 1 <= budget;
        duty_tick(duty, wishes[i]);
    }
}

int harness_assert(harness_t *board)
{
    running = board;
    if (setjmp(asserted) != 0) {
        running = NULL;
        return HARNESS_ASSERTED;
    }
    CORE_ASSERT(board == NULL);
    return 0;
}

tx_t *harness_ring(harness_t *board)
{
    return &board->core.tx;
}

int16_t harness_next(harness_t *board)
{
    return core_tx_byte(&board->core);
}
