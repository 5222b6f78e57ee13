#include "pulse.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "../core/core.h"
#include "../core/port.h"
#include "pins.h"
#include "timebase.h"

#if CORE_LOCAL_INPUTS

#define BIT(n) ((uint8_t)(1u << (n)))
#define INPUTS ((uint8_t)(BIT(INT0) | BIT(INT1)))
#define GONE (5u * TIMEBASE_TICK)
#define FIRST_BIT LOCAL1_A_BIT

#if LOCAL2_A_BIT != LOCAL1_A_BIT + 1u
#error "the inputs local A are INT0 and INT1"
#endif

typedef struct {
    uint16_t rise;                              /* stamp, from the beginning of this tick */
    uint16_t width;                             /* us */
} pulse_t;

static volatile pulse_t pulses[AXES];
static uint8_t high;                            /* bits of INPUTS: a rise was seen, its fall not yet */

void pulse_start(void)
{
    EICRA = (uint8_t)(BIT(ISC00) | BIT(ISC10));     /* both edges */
}

void pulse_tick(void)
{
    for (volatile pulse_t *pulse = pulses; pulse < pulses + AXES; pulse++) {
        uint16_t next = (uint16_t)(pulse->rise - TIMEBASE_TICK);
        if ((uint16_t)-next >= GONE) {
            pulse->width = 0;
        } else {
            pulse->rise = next;
        }
    }
    EIFR = INPUTS;
    EIMSK = INPUTS;
}

uint16_t pulse_us(uint8_t index)
{
    uint16_t us;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { us = pulses[index].width; }
    return us;
}

ISR(INT0_vect)
{
    uint16_t now = timebase_stamp();
    uint8_t levels = (uint8_t)(PIND >> FIRST_BIT);
    volatile pulse_t *pulse = pulses;
    for (uint8_t bit = 1; bit < BIT(AXES); bit = (uint8_t)(bit << 1)) {
        if (levels & bit) {
            if (!(high & bit)) { pulse->rise = now; }
            high |= bit;
        } else if (high & bit) {
            pulse->width = (uint16_t)((uint16_t)(now - pulse->rise) * 2u);
            high &= (uint8_t)~bit;
            EIMSK &= (uint8_t)~bit;
        }
        pulse++;
    }
}

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

#else

void pulse_start(void) { }

void pulse_tick(void) { }

uint16_t pulse_us(uint8_t index)
{
    (void)index;
    return 0;
}

#endif
