/* Two rods as one: what is asked of either is asked of both, at the same share of each one's stroke.
 *
 * Both finish together because speeds and ways are shared out by stroke, and because the one that is ahead waits.
 * What ends one, other than reaching its target, ends both.
 */
#ifndef RODBENCH_GANG_H
#define RODBENCH_GANG_H

#include "core.h"

/* A motion asked for, by whomever. */
typedef struct {
    uint8_t id;                 /* MSG_JOG, _RUN, _SEEK, _MOVE or _LEVEL */
    uint8_t unit;               /* of a jog: JOG_UNIT_... */
    int32_t value;              /* of a move the target, of a run the output, of a seek the direction */
    int32_t speed_um_s;         /* of a move; of a jog its value; of a level: positive extends */
} order_t;

/* The board ties its two axes together. */
uint8_t gang_is_on(const core_t *core);

/* Begins a motion, ganged or not: of a gang that of both axes, or of none. STATUS_OK or why not. Slows the order to
 * what both rods can do. */
uint8_t gang_start(core_t *core, uint8_t index, order_t *order);

/* Before the axes' own tick: judges how far apart they are, holds the one ahead, stops the one left alone. */
void gang_tick(core_t *core);

#endif
