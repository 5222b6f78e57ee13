/* Finding an end: creep until nothing moves for a dwell, then a short probe with more output; keeps the evidence. */
#ifndef RODBENCH_SEEK_H
#define RODBENCH_SEEK_H

#include <stdint.h>

#include "../generated/schema.h"
#include "position.h"

#define SEEK_GOING 0u
#define SEEK_PROBING 1u
#define SEEK_FOUND 2u

#define SEEK_LAST 4

typedef struct {
    int32_t mark;               /* block in which motion was last seen */
    int32_t current_sum;        /* of the block, of the dwell or of the probe under way */
    int32_t block_current;      /* sum over the block under way */
    int32_t travel;             /* of a block, running; 0: not seen yet */
    uint16_t still_ticks;       /* since the mark */
    uint16_t dwell;             /* ticks without motion that mean an end */
    int16_t current_last[SEEK_LAST];    /* means of the blocks before, newest first, mA */
    int16_t current_before;     /* mean while running; 0: never ran */
    int16_t current_stop;       /* mean over the dwell */
    int16_t current_probe;      /* mean over the probe's second half */
    uint8_t runs;               /* blocks with motion in a row, up to SEEK_LAST + 1 */
    uint8_t probe_ticks;        /* 0: not probing */
} seek_t;

/* Begins, also with a fresh block. */
void seek_begin(seek_t *seek, const settings_axis_t *set, position_t *position);

/* One tick with output: SEEK_... */
uint8_t seek_tick(seek_t *seek, const settings_axis_t *set, position_t *position, int16_t current_ma);

#endif
