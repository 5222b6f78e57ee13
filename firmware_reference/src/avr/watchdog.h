/* The watchdog: its interrupt after 32 ms drops the outputs and marks the record, then the board starts anew. */
#ifndef WATCHDOG_H
#define WATCHDOG_H

#include <stdint.h>

#include "../core/core.h"

/* Of board.c: where the cause of the next start is marked. */
extern noinit_t record;

void watchdog_start(void);

void watchdog_kick(void);

/* Outputs low, cause marked, then a new start. Does not return. */
void watchdog_restart(uint8_t cause) __attribute__((noreturn));

#endif
