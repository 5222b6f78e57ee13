/* What duty and heat have come to, kept through a power loss: the hot record.
 *
 * 17 records of 9 bytes in non-volatile memory are written in turn, of both axes together. The newest never tells less
 * than is spent: at rest it tells of the next 64 ticks of output in advance, so that a start does not wait; a motion has
 * the next 30 s written at once, and again before they are used up. Ticks of both axes count. Only in the 20 ticks
 * behind the board's start is there nothing in advance yet: a motion then waits at output 0. Output of which the memory
 * does not tell ends as for a spent budget: so it does where no byte can be written.
 *
 * After a power loss all that it tells counts as just spent; time without power earns nothing until a host tells it. So
 * too much counts, never too little: for each power loss up to 95 ticks at rest, and 6111 ticks (31 s, a tenth of the
 * default budget) behind a motion, until the record was lowered: every 11 minutes of the board's running, at rest. Heat is
 * rounded up to 16 permille, in motion held 96 in advance; it is too low only by what rises in 10 ticks beyond 16.
 *
 * A cell bears 100 000 writes and a record writes its check byte twice: 850 000 records. At 30 s of output each 295 days
 * of output, 3.2 years at a share of a quarter night and day; at rest one in 11 minutes, 17 years.
 */
#ifndef RODBENCH_HOT_H
#define RODBENCH_HOT_H

#include "memory.h"

/* Duty and heat of a record that RAM has not kept: from the newest record in the memory. */
void hot_start(core_t *core, uint8_t kept);

/* Before the axes' own tick: begins a record where one is needed. */
void hot_tick(core_t *core);

/* Off-time told by the host, once after a power loss, whatever resets lie between. STATUS_OK or _NOTHING_KEPT. */
uint8_t hot_credit(core_t *core, uint32_t off_s);

/* For memory.c. */
uint8_t hot_due(core_t *core, record_t *record);
void hot_written(core_t *core, uint8_t good);

#endif
