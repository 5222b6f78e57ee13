/* The trip log: the last eight trips, in non-volatile memory.
 *
 * Trip number n lies at place n % 8, with its check byte behind it: what a cut has torn is left out. Two may wait to be
 * written, 20 ticks each; of more at once the number alone is counted, so that a gap in the numbers tells of it.
 * A cell bears 100 000 writes and a record writes its check byte twice: at a trip an hour 45 years.
 */
#ifndef RODBENCH_TRIPS_H
#define RODBENCH_TRIPS_H

#include "memory.h"

/* Finds the newest record. */
void trips_start(core_t *core);

/* A fault was latched: the body of its event. */
void trips_note(core_t *core, const uint8_t *event);

/* The trip `age` before the newest. STATUS_OK, _NOTHING_KEPT, or _BUSY: a record is being written, ask again. */
uint8_t trips_get(const core_t *core, trip_t *trip, uint8_t age);

/* For memory.c. */
uint8_t trips_due(core_t *core, record_t *record);
void trips_written(core_t *core);

#endif
