/* The lines to the H-bridges, for each kind of driver. PWM is the axis's PWM pin, A and B its direction lines.
 *
 *            two direction lines   one direction line   two PWM inputs (axis 1)   PWM input and line
 *            PWM     A   B         PWM     A            D9      D10               PWM            A
 *   off      0       0   0         0       as it was    0       0                 low            0
 *   brake    100 %   0   0         0       as it was    100 %   100 %             high           1
 *   drive +  output  1   0         output  1            output  0                 output         0
 *   drive -  output  0   1         output  0            0       output            inverted       1
 *
 * Timer1 runs phase correct with TOP 400: 20 kHz, with a true 0 and a true 100 %. A compare value is taken at the next
 * TOP, at most 50 us after it was written; direction lines and the connection of a pin to its compare unit change at
 * once. So that no bridge is driven the wrong way meanwhile:
 * - one direction line: it stays where it is until the next drive begins, when the PWM has long been 0;
 * - two PWM inputs: both compare values are written with no TOP between them, and change in the same turn;
 * - PWM input and line: off and brake take the pin from its compare unit, whose value is then 0. A drive gives it back;
 *   inverted, 0 is high. Pin and line change a few cycles apart.
 * What remains: where a drive begins, full output the wanted way for at most one turn of 50 us.
 */
#ifndef DRIVE_H
#define DRIVE_H

#include <stdint.h>

#include "../core/core.h"

#define DRIVE_TOP 400u

/* All bridge lines driven low, PWM disconnected. Safe at any time, interrupts on or off. */
void drive_low(void);

/* Starts Timer1, outputs at 0. */
void drive_start(void);

/* What a tick has decided, on the lines. Interrupts are off for 6 us at most. */
void drive_put(const outputs_t *out);

#endif
