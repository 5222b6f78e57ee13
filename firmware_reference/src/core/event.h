/* Events onto the line. One that finds no room is dropped, counted, and leaves a gap in the numbers. */
#ifndef RODBENCH_EVENT_H
#define RODBENCH_EVENT_H

#include "core.h"

/* axis 0 is the board. */
void event_send(core_t *core, uint8_t axis, const axis_event_t *event, int16_t output_before);
void event_axis(core_t *core, uint8_t axis, const axis_out_t *out);       /* all of its tick */
void event_board(core_t *core, uint8_t kind, uint8_t cause, int32_t value_a);

#endif
