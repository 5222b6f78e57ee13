#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "../core/core.h"
#include "../core/port.h"
#include "../generated/schema.h"
#include "adc.h"
#include "config.h"
#include "drive.h"
#include "early.h"
#include "eeprom.h"
#include "pins.h"
#include "pulse.h"
#include "timebase.h"
#include "uart.h"
#include "watchdog.h"

#define BIT(n) ((uint8_t)(1u << (n)))

core_t core;
noinit_t record __attribute__((section(".noinit")));
static uint16_t starts __attribute__((section(".noinit")));     /* whatever power-on left, then counted */

/* What is open reads high. */
static void pull_up_inputs(void)
{
    PORTD |= (uint8_t)(BIT(LOCAL1_A_BIT) | BIT(LOCAL2_A_BIT));
    PORTB |= (uint8_t)(BIT(STOP_INPUT_BIT) | BIT(LOCAL1_B_BIT) | BIT(LOCAL2_B_BIT));
}

/* New at each start: a counter that outlives resets, and converter noise for power-on. */
static uint16_t seed(void)
{
    starts++;
    return (uint16_t)(starts * 40503u ^ adc_noise());
}

void board_start(void)
{
    cli();
    drive_start();
    pull_up_inputs();
    core_init(&core, &record, early_reset_flags, seed(), eeprom_get);
    adc_start();
    pulse_start();
    uart_start();
    timebase_start();
    watchdog_start();
    SMCR = BIT(SE);                 /* sleep means idle: timers, converter and line go on */
    sei();
}

/* The pins as they are in this moment; closed to ground is 1. */
static uint8_t read_inputs(void)
{
    uint8_t b = PINB, d = PIND, inputs = 0;
    if (!(b & BIT(STOP_INPUT_BIT))) { inputs |= INPUTS_STOP; }
    if (!(d & BIT(LOCAL1_A_BIT))) { inputs |= INPUTS_EXTEND_1; }
    if (!(b & BIT(LOCAL1_B_BIT))) { inputs |= INPUTS_RETRACT_1; }
    if (!(d & BIT(LOCAL2_A_BIT))) { inputs |= INPUTS_EXTEND_2; }
    if (!(b & BIT(LOCAL2_B_BIT))) { inputs |= INPUTS_RETRACT_2; }
    return inputs;
}

static void put_outputs(const outputs_t *out)
{
    drive_put(out);
    if (out->ee_write) { (void)eeprom_put(out->ee_address, out->ee_value); }
}

#if BOARD_TEST_HANG
static void hang_when_asked(const outputs_t *out)
{
    if (out->drive[1] == 77) {
        for (;;) { }
    }
}
#else
static void hang_when_asked(const outputs_t *out)
{
    (void)out;
}
#endif

static void note_time(uint16_t took_us)
{
    if (took_us > core.counters.worst_tick_us) { core_worst_tick(&core, took_us); }
    for (uint8_t n = timebase_late(); n != 0; n--) { core_late_tick(&core); }
}

/* A stick was converted anyway; where the axis wants a pulse, that is its reading. */
static void read_pulses(readings_t *in)
{
    for (uint8_t index = 0; CORE_LOCAL_INPUTS && index < AXES; index++) {
        if (core.live.axis[index].local_source == LOCAL_SOURCE_PULSE) { in->local[index] = pulse_us(index); }
    }
}

static void tick(void)
{
    readings_t *in = adc_latest();
    outputs_t out = { .ee_write = 0 };
    in->ee_ready = eeprom_ready();
    in->inputs = read_inputs();
    read_pulses(in);
    core_tick(&core, in, &out);
    put_outputs(&out);
    hang_when_asked(&out);
    uart_wake();
    note_time(timebase_done());
    watchdog_kick();                /* the timer began this tick and the loop ended it: both live */
    if (out.restart) { watchdog_restart(RESET_CAUSE_RESTART); }
}

/* An interrupt between the look and the sleep must not be slept over. */
static void sleep_unless_due(void)
{
    cli();
    if (!timebase_is_due()) {
        sei();                      /* the next instruction still runs before any interrupt */
        sleep_cpu();
    }
    sei();
}

void board_run(void)
{
    for (;;) {
        if (timebase_take()) {
            tick();
        } else {
            sleep_unless_due();
        }
    }
}
