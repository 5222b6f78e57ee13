/* The black box: the last 0.3 s of both axes before a trip, every second tick, in RAM that a reset keeps.
 *
 * It records always, rest included, until a trip freezes it; it goes on when a motion begins with no fault latched.
 */
#ifndef RODBENCH_BLACKBOX_H
#define RODBENCH_BLACKBOX_H

#include "core.h"

/* A record that RAM has not kept begins anew. */
void blackbox_start(core_t *core, uint8_t kept);

/* Before control: takes what the tick before has left. */
void blackbox_tick(core_t *core);

void blackbox_freeze(core_t *core, uint8_t axis, uint8_t fault);

/* Samples of an axis from `first` on, oldest first, as many as fit between `to` and `end`. Returns their end. */
uint8_t *blackbox_items(const blackbox_t *box, uint8_t index, uint8_t first, uint8_t *to, const uint8_t *end);

#endif
