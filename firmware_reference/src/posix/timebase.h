/* The tick of 5 ms by the monotonic clock, in slices of 1 ms for the serial line. Times are absolute: a late tick does not
 * shift those after it, and all that were missed are made up for, as on the chip, up to 255. */
#ifndef POSIX_TIMEBASE_H
#define POSIX_TIMEBASE_H

#include <stdint.h>

#define TIMEBASE_SLICES 5

void timebase_start(void);
void timebase_wait(void);           /* until the next slice begins */

/* At the end of a tick's work: ticks that have begun since and were not counted yet. */
uint8_t timebase_late(void);

uint32_t timebase_us(void);         /* a free running count, for measuring */

#endif
