/* What each axis has done in all: on-time, starts, travel.
 *
 * Counted in RAM that a reset keeps; two records in non-volatile memory are written in turn, at rest after a motion, at
 * once after power came on and then at most every 10 minutes, so a power loss costs no more than that. A cell bears
 * 100 000 writes and every second record writes its check byte twice: at a motion in every 10 minutes, night and day,
 * 1.9 years; at forty such spans a day, 6.8 years.
 */
#ifndef RODBENCH_TOTALS_H
#define RODBENCH_TOTALS_H

#include "memory.h"

/* A record that RAM has not kept is taken from the memory. */
void totals_start(core_t *core, uint8_t kept);

/* Behind axis_tick, in a tick with output. */
void totals_tick(core_t *core, uint8_t index);

/* For memory.c. */
uint8_t totals_due(core_t *core, record_t *record);
void totals_written(core_t *core);

#endif
