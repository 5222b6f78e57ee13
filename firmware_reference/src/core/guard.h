/* The guards of one axis that judge readings: each names a fault, or 0. Latching is the axis's business. */
#ifndef RODBENCH_GUARD_H
#define RODBENCH_GUARD_H

#include <stdint.h>

#include "../generated/schema.h"
#include "position.h"

typedef struct {
    int32_t mark;               /* block in which motion was last seen */
    int32_t furthest_um;        /* along the drive's direction, since it began; at rest: where it came to rest */
    int32_t current_mean;       /* mA with 4 fraction bits, slow, while driving */
    uint16_t still_ticks;       /* driven without motion */
    uint16_t still_limit;
    uint16_t own_ma;            /* without a pot: what its motor draws while it runs */
    uint16_t over_ticks;        /* above the trip */
    uint8_t band_ticks;         /* outside the pot's band */
    uint8_t was_inside;         /* 1: the pot was seen within its band in this motion */
    int8_t direction;           /* of the drive being watched; 0: none yet */
    uint8_t moved;              /* 1: motion was seen since the drive began this way */
    uint8_t start_ticks;        /* without a pot: of the drive this way, while it gets going; at rest: ticks since */
} guard_t;

/* A motion begins: nothing is held against it yet. */
void guard_begin(guard_t *guard);

uint8_t guard_pot_band(guard_t *guard, const settings_axis_t *set, uint16_t raw, uint8_t driving);

/* In ticks at rest, calibrated: has the rod left the place where it came to rest? 1 or 0. */
uint8_t guard_moving_off(guard_t *guard, const position_t *position, int32_t um);

/* Those below are asked in ticks with output only. The axis has this tick's readings, and the output with which they were
 * taken. */
struct axis;
uint8_t guard_over_current(guard_t *guard, const settings_axis_t *set, int16_t current_ma);
uint8_t guard_motion(guard_t *guard, const settings_axis_t *set, const struct axis *axis);

/* Behind guard_motion: does the motor draw what a running one does, neither hardly any nor risen? */
uint8_t guard_runs(guard_t *guard, const settings_axis_t *set, const struct axis *axis);

#endif
