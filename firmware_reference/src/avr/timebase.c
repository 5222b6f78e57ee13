#include "timebase.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "adc.h"
#include "pulse.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define COUNTS 250u             /* of 2 us each: half a millisecond */

static volatile uint8_t phase;  /* half milliseconds since the tick */
static volatile uint8_t due;    /* ticks begun and not taken */
static volatile uint8_t busy;   /* a tick was taken and has not ended */
static volatile uint8_t late;

void timebase_start(void)
{
    TIMSK2 = 0;
    TCCR2B = 0;
    ASSR = 0;
    TCNT2 = 0;
    OCR2A = COUNTS - 1u;
    TCCR2A = BIT(WGM21);
    TIFR2 = 0xFF;
    TIMSK2 = BIT(OCIE2A);
    TCCR2B = (uint8_t)(BIT(CS21) | BIT(CS20));      /* 16 MHz / 32 */
}

static void begin_tick(void)
{
    GPIOR0 = 1;                 /* a debugger or a simulator sees here where a tick begins */
    adc_latch();
    pulse_tick();
    if ((busy || due != 0) && late != UINT8_MAX) { late++; }
    if (due != UINT8_MAX) { due++; }
}

ISR(TIMER2_COMPA_vect)
{
    uint8_t now = (uint8_t)(phase + 1u);
    if (now == TIMEBASE_PER_TICK) {
        now = 0;
        begin_tick();
    } else if (now == ADC_SCAN_PHASE) {
        adc_scan();
    }
    phase = now;
}

uint8_t timebase_take(void)
{
    uint8_t got = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (due != 0) {
            due--;
            busy = 1;
            got = 1;
        }
    }
    return got;
}

uint8_t timebase_is_due(void)
{
    return due != 0 ? 1 : 0;
}

uint16_t timebase_stamp(void)
{
    uint8_t count = TCNT2;
    uint8_t halves = phase;
    if ((TIFR2 & BIT(OCF2A)) && count < COUNTS / 2u) { halves++; }
    return (uint16_t)(halves * COUNTS + count);
}

uint16_t timebase_done(void)
{
    uint16_t stamp;
    uint8_t behind;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        stamp = timebase_stamp();
        behind = due;
        busy = 0;
        GPIOR0 = 0;             /* and where it ended */
    }
    return (uint16_t)(behind * 5000u + stamp * 2u);
}

uint8_t timebase_late(void)
{
    uint8_t got;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        got = late;
        late = 0;
    }
    return got;
}
