/* The H-bridge lines: PWM enable plus two direction lines per axis.
 *
 *            enable (PWM)   A   B
 *   off      0              0   0     bridge disabled, the motor coasts
 *   brake    100 %          0   0     both low sides on, the motor is shorted
 *   drive +  output         1   0     while the PWM is low the motor coasts
 *   drive -  output         0   1
 *
 * Timer1 runs phase correct with TOP 400: 20 kHz, with a true 0 and a true 100 %. A compare value is taken at
 * the next TOP, at most 50 us after it was written; direction lines change at once.
 */
#ifndef DRIVE_H
#define DRIVE_H

#include <stdint.h>

#define DRIVE_TOP 400u

/* All bridge lines driven low, PWM disconnected. Safe at any time, interrupts on or off. */
void drive_low(void);

/* Starts Timer1, outputs at 0. */
void drive_start(void);

/* axis 0 or 1; bridge BRIDGE_...; drive in permille, sign by the lines, used with BRIDGE_DRIVE only. */
void drive_set(uint8_t axis, uint8_t bridge, int16_t drive);

void drive_alarm(uint8_t on);

#endif
