/* Servo pulses on the inputs local A, both edges stamped to 2 us; an interrupt under way makes a stamp late by as much
 * as it still takes. After the fall of a pulse its input is not looked at until the next tick, so that noise on the
 * wire cannot eat the time of the program. */
#ifndef PULSE_H
#define PULSE_H

#include <stdint.h>

void pulse_start(void);

/* From the tick's interrupt. */
void pulse_tick(void);

/* Width in us of the newest pulse of axis index + 1; 0: none has begun in the last 25 ms. */
uint16_t pulse_us(uint8_t index);

#endif
