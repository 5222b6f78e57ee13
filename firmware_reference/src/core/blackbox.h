/* The black box: the last 0.3 s of both axes before a trip, every second tick, in RAM that a reset keeps.
 *
 * It records always, rest included, until a trip freezes it; it begins anew when a motion begins with no fault latched.
 * A draft of settings takes its place: what was kept is gone with draft_begin, and nothing is recorded until it ends.
 */
#ifndef RODBENCH_BLACKBOX_H
#define RODBENCH_BLACKBOX_H

#include "core.h"

/* Before control: takes what the tick before has left. */
void blackbox_tick(core_t *core);

void blackbox_freeze(blackbox_t *box, uint8_t axis, uint8_t fault);

/* A motion begins. */
void blackbox_motion(core_t *core);

/* Samples of an axis from `first` on, oldest first, as many as fit a reply. Returns their end. */
uint8_t *blackbox_items(const blackbox_t *box, uint8_t index, uint8_t first, uint8_t *to);

#endif
