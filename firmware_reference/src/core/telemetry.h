/* Telemetry: at most one axis frame per tick. The board's frame waits for a tick without one, where there are such. */
#ifndef RODBENCH_TELEMETRY_H
#define RODBENCH_TELEMETRY_H

#include "core.h"

void telemetry_subscribe(core_t *core, uint16_t axis_period, uint16_t board_period);
void telemetry_tick(core_t *core);

/* This tick has much else to do: a board's frame that is due goes one later, a few times in a row at most. */
void telemetry_wait(core_t *core);

/* For all unasked frames: the header with the tick, and sending with its count of what found no room. */
uint8_t *telemetry_header(core_t *core, uint8_t *frame, uint8_t id);
void telemetry_send(core_t *core, const uint8_t *frame, uint8_t size);

#endif
