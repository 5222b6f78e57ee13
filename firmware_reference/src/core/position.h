/* Where the rod is and how fast it goes, from the pot alone.
 *
 * Of a calibrated axis a reading becomes a way first: raw counts from the retracted endpoint, positive while extending,
 * made straight by the linearity table. The estimate is an alpha-beta filter (gains 1/4 and 1/32) of the way with 14
 * fraction bits; a block mean over 16 ticks serves where certainty matters more than speed (no motion, rest).
 * Micrometres come from the line between the two endpoints, um per raw being kept in two parts so that every product
 * fits 32 bits. Uncalibrated, the way is the reading.
 */
#ifndef RODBENCH_POSITION_H
#define RODBENCH_POSITION_H

#include <stdint.h>

#include "../generated/schema.h"

#define POSITION_BLOCK 16           /* ticks per block, a power of two */

typedef struct {
    int32_t estimate;               /* way, 14 fraction bits */
    int32_t rate;                   /* raw per tick, 14 fraction bits */
    int32_t block_sum;              /* of the block under way */
    int32_t block;                  /* sum of 16 ways: the last full block */
    int32_t noise_um;               /* two sigma of a tick, by the settings, where the table is steepest; calibrated only */
    uint16_t threshold;             /* of a block: 6 of its sigmas, at least 2 raw: travel that is no noise */
    uint16_t um_whole;              /* um per raw: whole part, and the rest with 13 fraction bits */
    uint16_t um_part;
    uint16_t span;                  /* raw between the endpoints; 0: uncalibrated */
    uint16_t last;                  /* the reading from which a jump is judged */
    uint8_t jumped;                 /* ticks in a row too far from it: 1, 2, and again from 1 */
    uint8_t block_ticks;            /* of the block under way */
    uint8_t block_ready;            /* 1 in the tick in which a block became full */
    uint8_t started;
} position_t;

/* One reading, one tick. The first one after all was cleared takes the line from the settings. */
void position_update(position_t *position, const settings_axis_t *set, uint16_t raw);

/* Begins a fresh block with the next reading. */
void position_new_block(position_t *position);

int32_t position_um(const position_t *position);            /* 0 while uncalibrated */
int32_t position_block_um(const position_t *position);      /* of the last full block */
int32_t position_speed(const position_t *position);                 /* um/s; raw/s while uncalibrated */
int32_t position_count_um(const position_t *position);              /* one raw count, rounded up; calibrated only */

/* Whether the linearity table is in order, and nowhere more than twice as steep as the line between the endpoints. */
uint8_t position_table_good(const settings_axis_t *set);

/* How far a block (a sum of 16 readings) travels from one to the next at a speed of 0 .. 200 000 um/s. Calibrated. */
int32_t position_block_travel(const position_t *position, const settings_axis_t *set, int32_t um_s);

#endif
