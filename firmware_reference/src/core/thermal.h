/* How warm a motor is: a first-order estimate from the square of its current, in permille of where its rated current
 * would end up: heat' = ((current / rated)^2 - heat) / time constant. It has 20 fraction bits.
 *
 * It lies in RAM that a reset keeps; a reset in the midst of a tick finds it as it was, or warmer. What a tick brings is
 * cut off towards none: with the longest constant, 7200 s, it comes within 2 permille, with 300 s within 0.1. Currents
 * above 22 times the rated one count as that.
 */
#ifndef RODBENCH_THERMAL_H
#define RODBENCH_THERMAL_H

#include <stdint.h>

#include "../generated/schema.h"

#define THERMAL_BITS 20

/* One tick. Without a rated current the heat is 0. */
void thermal_tick(uint32_t *heat, const settings_axis_t *set, int16_t current_ma);

/* So long without current: at most 3.3 % of what it was too warm. */
void thermal_rest(uint32_t *heat, const settings_axis_t *set, uint16_t off_s);

uint16_t thermal_permille(const uint32_t *heat);

#endif
