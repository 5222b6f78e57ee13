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

static volatile uint16_t rise[AXES];            /* stamps, from the beginning of this tick */
static volatile uint16_t width[AXES];           /* us */
static uint8_t high;                            /* bits of INPUTS: a rise was seen, its fall not yet */

void pulse_start(void)
{
    EICRA = (uint8_t)(BIT(ISC00) | BIT(ISC10));     /* both edges */
}

void pulse_tick(void)
{
    for (uint8_t index = 0; index < AXES; index++) {
        uint16_t next = (uint16_t)(rise[index] - TIMEBASE_TICK);
        if ((uint16_t)-next >= GONE) {
            width[index] = 0;
        } else {
            rise[index] = next;
        }
    }
    EIFR = INPUTS;
    EIMSK = INPUTS;
}

uint16_t pulse_us(uint8_t index)
{
    uint16_t us;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { us = width[index]; }
    return us;
}

ISR(INT0_vect)
{
    uint16_t now = timebase_stamp();
    uint8_t levels = (uint8_t)(PIND >> FIRST_BIT);
    uint8_t bit = 1;
    for (uint8_t index = 0; index < AXES; index++) {
        if (levels & bit) {
            if (!(high & bit)) { rise[index] = now; }
            high |= bit;
        } else if (high & bit) {
            width[index] = (uint16_t)((uint16_t)(now - rise[index]) * 2u);
            high &= (uint8_t)~bit;
            EIMSK &= (uint8_t)~bit;
        }
        bit = (uint8_t)(bit << 1);
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
