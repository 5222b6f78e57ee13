#include "board.h"

#include "../core/core.h"
#include "../core/port.h"
#include "adc.h"
#include "bench.h"
#include "line.h"
#include "memory.h"
#include "timebase.h"

/* Builds for tests: what the inputs ask for that show the two ways out of a program that went wrong. */
#ifndef BOARD_TEST_HANG
#define BOARD_TEST_HANG 0
#endif
#define TEST_HANGS 0xFE
#define TEST_ASSERTS 0xFF

_Static_assert(CORE_BOARD_KIND == POSIX_3V3_ID, "build the core with -DCORE_KIND=POSIX_3V3");

static core_t core;
static uint8_t lockstep;
static uint32_t worst_us;           /* longest tick since the start */

static void take_readings(readings_t *in, const bench_in_t *seen)
{
    adc_latch(&seen->scan);
    const adc_sums_t *sums = adc_latest();
    *in = (readings_t){
        .pot = { sums->pot }, .current = { sums->current }, .supply = sums->supply, .bandgap = sums->bandgap,
        .inputs = seen->inputs, .ee_ready = 1,
    };
}

static void fail_when_asked(const readings_t *in)
{
    while (BOARD_TEST_HANG && in->inputs == TEST_HANGS) { }
    CORE_ASSERT(!BOARD_TEST_HANG || in->inputs != TEST_ASSERTS);
}

static void tick(const bench_in_t *seen)
{
    readings_t in;
    outputs_t out = { .ee_write = 0 };
    if (seen->control & BENCH_RESET) { reset_now(RESET_CAUSE_EXTERNAL); }
    take_readings(&in, seen);
    core_tick(&core, &in, &out);
    fail_when_asked(&in);
    if (out.ee_write) { eeprom_put(out.ee_address, out.ee_value); }
    if (lockstep) { line_send(); }
    if (out.restart) { reset_now(RESET_CAUSE_RESTART); }
    bench_tell(core.tick, &out);
    watchdog_kick();
}

/* The bench leads: a tick happens when its record comes, however fast that is. */
static void step(void)
{
    const bench_in_t *seen = bench_wait();
    line_receive();
    tick(seen);
}

static void note_time(uint32_t took_us)
{
    if (took_us > worst_us) {
        worst_us = took_us;
        core_worst_tick(&core, took_us > UINT16_MAX ? UINT16_MAX : (uint16_t)took_us);
    }
    for (uint8_t n = timebase_late(); n != 0; n--) { core_late_tick(&core); }
}

/* The clock leads. Ticks that were missed follow one another at once; the line keeps to the clock all the same. */
static void keep_time(void)
{
    for (uint8_t n = 0; n < TIMEBASE_SLICES; n++) {
        timebase_wait();
        line_receive_by(timebase_us());
        line_send_by(timebase_us());
    }
    uint32_t began_us = timebase_us();
    tick(bench_newest());
    note_time(timebase_us() - began_us);
}

void board_run(const start_t *start, noinit_t *record, uint8_t reset_flags, uint16_t nonce_seed)
{
    lockstep = start->lockstep;
    core_init(&core, record, reset_flags, nonce_seed, eeprom_get);
    line_start(&core, start->line);
    bench_start(start->bench);
    watchdog_start(lockstep);
    if (!lockstep) {
        (void)bench_wait();         /* the converter's first scan */
        timebase_start();
    }
    for (;;) { lockstep ? step() : keep_time(); }
}
