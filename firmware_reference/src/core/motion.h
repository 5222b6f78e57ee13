/* A calibrated axis on its way to a point: reference, output, and the guard at the soft stop.
 *
 * A jog is a way to the soft stop, a move a way to its target. Everything is reckoned along the direction of travel,
 * so that both directions share one code: `along` is a position or speed times the direction.
 */
#ifndef RODBENCH_MOTION_H
#define RODBENCH_MOTION_H

#include <stdint.h>

#include "../generated/schema.h"

/* What motion_tick says beside the output. */
#define MOTION_GOING 0u
#define MOTION_ARRIVED 1u           /* output 0: what is left of the speed carries the rod to the target */
#define MOTION_HELD 2u              /* output 0: the soft stop allows nothing more, and the rod is slow */
#define MOTION_RAMPED_DOWN 3u       /* output 0: a ramp down has ended */

#define MOTION_BEHIND 50            /* 250 ms */
#define MOTION_FAR INT32_C(4000000) /* um: a target beyond every stroke */

typedef struct {
    int32_t reference;              /* along, um with 8 fraction bits */
    int32_t target;                 /* the same */
    int32_t speed;                  /* of the reference, um per tick with 16 fraction bits, never below 0 */
    int32_t limit;                  /* of this motion, the same */
    int32_t creep;                  /* the same */
    int32_t up;                     /* of speed, per tick */
    int32_t down;
    int32_t stop_um;                /* along: nothing drives beyond */
    int16_t boost;                  /* permille that the load asks for beyond what was measured */
    uint16_t lost_um;               /* that the reference did not go, as it waited for the rod */
    uint16_t guard_time;            /* s / 4096: 1.5 ticks and 1.25 times the run-on */
    uint16_t carry_time;            /* s / 4096: one tick and the run-on, as it is */
    int8_t direction;               /* +1 extends, -1 retracts */
    int16_t ramp_down;              /* not 0: slowing to 0 whatever the target, with no more output than this */
    uint8_t held;                   /* how firmly the guard holds, see motion.c */
    uint8_t behind;                 /* ticks in a row further behind than following_um, to MOTION_BEHIND */
} motion_t;

/* What it goes by: the axis with this tick's estimate, and its readings. Two pointers, as the stack is short. */
typedef struct {
    const struct axis *axis;
    const struct axis_in *in;
} motion_in_t;

/* 1: no faster than creep, no more than creep output. */
uint8_t motion_creeps(const motion_in_t *in);

/* From rest, where the rod is, towards target_um, which the soft stop cuts short. */
void motion_begin(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, int32_t target_um,
                  int32_t limit_um_s);

/* Another target or speed under way: takes it at once where the ramps allow; 0: they do not, ramp down first. */
uint8_t motion_change(motion_t *motion, const motion_in_t *in, int32_t target_um, int32_t limit_um_s);

/* Output in permille along the direction (0 .. output ceiling); *said is MOTION_... */
int16_t motion_tick(motion_t *motion, const settings_axis_t *set, const motion_in_t *in, uint8_t *said);

/* The guard alone, with the worst run-on known at any speed: for a run by output. */
void motion_begin_run(motion_t *motion, const settings_axis_t *set, int8_t direction);

/* Does the soft stop in this direction forbid to drive on, at this speed? */
uint8_t motion_forbids(const motion_t *motion, const motion_in_t *in);

int32_t motion_full_speed(const settings_axis_t *set, int8_t direction);        /* um/s, measured or guessed from creep */

int16_t motion_dead(const settings_axis_t *set, int8_t direction);      /* permille: least output that moves the rod */

/* How near to its target a move must rest: the larger of 1 mm and 1 % of stroke, in um. */
int32_t motion_tolerance(const settings_axis_t *set);

#endif
