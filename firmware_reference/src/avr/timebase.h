/* Timer2: 2 kHz, and every tenth of its interrupts begins a tick. */
#ifndef TIMEBASE_H
#define TIMEBASE_H

#include <stdint.h>

#define TIMEBASE_PER_TICK 10u
#define TIMEBASE_TICK 2500u       /* of 2 us */

void timebase_start(void);

/* Since the tick's beginning, in steps of 2 us. With interrupts off. */
uint16_t timebase_stamp(void);

/* Takes one tick that is due: 1, or 0 when none is. */
uint8_t timebase_take(void);

/* 1: a tick is due. */
uint8_t timebase_is_due(void);

/* Ends the tick that was taken; its length in us, within 2 us. */
uint16_t timebase_done(void);

/* Ticks, since the last call, that began before the one before had ended. */
uint8_t timebase_late(void);

#endif
