/* What goes into non-volatile memory: at most one byte in a tick, for one of its clients.
 *
 * Clients in their order: hot record, trips, totals, settings. In every tick the first that wants to write has the byte;
 * another's unfinished record begins anew afterwards, and the settings go on where they were. Nothing is begun while
 * the memory is busy, nor where the board's own supply is calibrated and reads below 4.4 V.
 *
 * A record ends with its check byte. Its writing begins with that byte, set to what no record has, and ends with it: a
 * cut at any byte leaves a record that does not count, and all others as they are. So a client writes over its oldest
 * record and keeps the newest. A byte is written when it reads otherwise, again if it did not take. The check byte wears
 * twice as fast as the others.
 *
 * To add a client: X_due, asked in every tick in which a byte may be written, and X_written. In X_due fill in the record,
 * sealed by record_seal, and return 1 as long as it wants to be written; its bytes must not change meanwhile (return 0
 * for a tick to begin anew). X_written says once that it has ended, or that bytes did not take: go on to another place.
 * To read a record, record_get in store.h: at a start, or in a tick with core->ee_ready, else it waits for the memory.
 */
#ifndef RODBENCH_MEMORY_H
#define RODBENCH_MEMORY_H

#include "core.h"

typedef struct {
    const void *from;
    uint16_t at;                        /* in the memory, not 0 */
    uint8_t size;                       /* with the check byte */
} record_t;

void memory_tick(core_t *core, outputs_t *out);

#endif
