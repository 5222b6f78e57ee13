/* Starting anew: the process replaces itself, so that every variable is fresh, as after a reset of a chip. Line, bench and
 * record are handed on by their descriptors. And the watchdog, which does so when ticks stay out. */
#ifndef POSIX_RESET_H
#define POSIX_RESET_H

#include <stdint.h>

#include "../core/noinit.h"

#define WATCHDOG_MS 200             /* a board of real wires wants less; a shared computer cannot keep less */

typedef struct {
    const char *program;            /* by its path */
    const char *eeprom;
    int line;
    int bench;
    int record;
    uint8_t lockstep;
    uint16_t seed;                  /* of the nonce; 0: drawn anew at each start */
} start_t;

/* What the next start is to be given. Kept by reference. */
void reset_prepare(const start_t *start, noinit_t *record);

/* Outputs off, and the program starts anew for this cause. Never returns. Safe in a signal. */
void reset_now(uint8_t cause) __attribute__((noreturn));

/* In lockstep it counts the computing time of the process alone: waiting for the bench is no hang. */
void watchdog_start(uint8_t lockstep);
void watchdog_kick(void);

#endif
