/* Standing alone: an axis commanded by two buttons, a stick or a servo pulse on the board, without a computer.
 *
 * An axis with a local source belongs to it from the start of the board; the host takes and gives back (hand_over).
 * An input commands only once armed: seen at rest for 100 ms, since the start, the last stop, fault, loss or commit, or
 * since it was given the axis. What it asks goes the way of a host's request, with all that refuses or ends one.
 * Of a gang the input of axis 1 commands both; that of axis 2 is not looked at.
 * A start refused for more than a stop that is being carried out disarms. */
#ifndef RODBENCH_LOCAL_H
#define RODBENCH_LOCAL_H

#include "handle.h"

/* After the host's requests of a tick, before the axes. */
void local_tick(core_t *core, const readings_t *in);

/* The host does not command this axis: its own input does, or that of its gang. */
uint8_t local_commands(const core_t *core, uint8_t index);

uint8_t local_hand_over(core_t *core, call_t *call);

#endif
