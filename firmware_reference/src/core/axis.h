/* One axis: what it is asked to do, what it does in each tick, how its last motion ended.
 *
 * Order within a core tick: commands (axis_jog ... axis_clear) first, then axis_tick once.
 * A command never moves anything by itself; axis_tick alone decides the output.
 */
#ifndef RODBENCH_AXIS_H
#define RODBENCH_AXIS_H

#include <stdint.h>

#include "../generated/schema.h"
#include "guard.h"
#include "motion.h"
#include "port.h"
#include "position.h"
#include "seek.h"

#define AXIS_EVENTS_MAX 4
#define TOO_WARM 0x80u          /* not told: the thermal trip level was reached */
#define AXIS_LEFT 0x80u          /* beside EVENT_KIND_MOTION_ENDED: of the motion before */

#define AXIS_RESTS_OFF 0u           /* since boot, or by a fault */
#define AXIS_RESTS_BY_SETTING 1u    /* as stop_by says */
#define AXIS_RESTS_BRAKED 2u        /* whatever stop_by says, until the next drive */

typedef struct axis_in {
    uint32_t tick;              /* of this tick, 5 ms each */
    uint32_t duty_room;         /* ticks of output that the duty budget still allows, this one included */
    uint16_t heat;              /* permille */
    uint8_t waits;              /* 1: output does not begin in this tick, as the memory does not tell of it yet */
    uint16_t raw;               /* pot, sum of 8 */
    uint16_t current4;          /* current input, sum of 4 */
    uint16_t supply_mv;         /* motor supply to reckon with: as read if calibrated, else nominal */
    uint16_t supply_nominal_mv; /* board setting */
    uint16_t board_mv;          /* ADC reference: the meter reading, or 5000 */
} axis_in_t;

/* raw, position and current of an event are those in axis_t after the tick. Unless the kind says otherwise value_a is
 * the motion's number and value_b its ticks with output (0 if another motion has taken its place). */
typedef struct {
    uint8_t kind;               /* EVENT_KIND_... */
    uint8_t cause;
} axis_told_t;

typedef struct {
    axis_told_t told;
    int32_t value_a;
    int32_t value_b;
} axis_event_t;

typedef struct {
    int16_t drive;              /* on the LINES, permille, after motor_reversed; 0 unless driving */
    uint8_t bridge;             /* BRIDGE_OFF, _BRAKE, _DRIVE */
    uint8_t events;             /* how many of told[] are set, in order */
    int16_t output_before;      /* output of the tick before, for the events */
    axis_told_t told[AXIS_EVENTS_MAX];
} axis_out_t;

/* The local input of an axis. */
typedef struct {
    uint16_t value;             /* as read */
    int16_t asked;              /* what the motion under way was asked by; 0: nothing since it was at rest */
    uint8_t quiet;              /* ticks at rest, 20 at most */
    uint8_t lost;               /* ticks without a good reading */
} local_t;

typedef struct axis {
    /* from here to faults laid out as in telemetry_axis */
    uint8_t state;              /* AXIS_STATE_... */
    uint8_t flags;              /* AXIS_FLAGS_... bits */
    uint16_t raw;               /* this tick's */
    int32_t position_um;        /* filtered; 0 while uncalibrated */
    int32_t speed_um_s;         /* filtered; raw per s while uncalibrated */
    int32_t reference_um;       /* where the ramp wants the rod; position while at rest */
    int16_t current_ma;
    int16_t output_permille;    /* positive extends (uncalibrated: by the lines) */
    uint32_t faults;            /* latched, bit (number - 1) */
    uint8_t also;               /* AXIS_ALSO_... bits, and TOO_WARM */
    uint8_t command;            /* AXIS_STATE_ of the motion under way, also while it is stopping */
    /* the motion under way or last, laid out as in the reply to `outcome` */
    uint16_t motion;            /* number of the motion under way or last; wraps, never 0 after the first */
    uint8_t ended;              /* ENDED_... of the motion under way or last */
    uint8_t cause;              /* fault number when ended by a fault, else 0 */
    uint16_t rest_raw;          /* mean at rest */
    int32_t rest_position_um;
    int16_t current_before_ma;
    int16_t current_stop_ma;
    int16_t current_probe_ma;
    uint32_t on_ticks;          /* ticks with output not 0 in this motion */
    /* private */
    uint8_t stop_reason;        /* ENDED_ that it will have, once stopped */
    uint8_t left_reason;        /* ENDED_ of the motion before, whose place was taken: still to be told */
    uint8_t resting;            /* 0: driving; else output is 0 and this many blocks + 1 were looked at for rest */
    uint8_t inches;             /* how often a move has crept in */
    uint8_t changed;            /* 1: demand was changed under way */
    uint8_t trial;              /* 1: the last command only said whether it would be done */
    uint8_t wait;               /* of 256: how far the reference is held back, for another rod's sake */
    uint8_t whole_way;          /* 1: a run without a pot that began at the other end */
    uint16_t way;               /* without a pot, stands in for it: grows while the motor draws what a running one does */
    uint8_t used;               /* AXIS_RESTS_...: how the bridge rests */
    int8_t last_sign;           /* of the drive in the tick before, 0 if none */
    uint8_t ceiling;            /* of the output, 4 permille, so that the current stays low */
    uint16_t reserve;           /* ticks of output that a ramp down needs */
    uint16_t hold_ticks;
    uint32_t hold_until;        /* last tick of the hold */
    int32_t demand;             /* jog and run by output: permille; seek: +1 or -1; jog by speed and move: target um */
    int32_t demand_um_s;        /* jog by speed and move */
    int32_t from_um;            /* where this way began */
    local_t local[CORE_LOCAL_INPUTS];   /* none where there are no inputs */
    int32_t rest_block;         /* the block before, while waiting for rest */
    uint32_t current_scale;     /* mA per raw of current4, 11 fraction bits */
    uint16_t board_mv;          /* for which it was reckoned */
    guard_t guard;
    position_t position;
    union {
        motion_t track;         /* calibrated */
        seek_t seek;            /* uncalibrated */
    };
} axis_t;

/* At start, and not again before the next reset. The first axis_tick sets the estimate. */
void axis_init(axis_t *axis);

/* Settings of this axis were replaced (at rest, output 0): the estimate starts anew, direction is unproven. */
void axis_settings_changed(axis_t *axis);

/* Nothing more by the local input of this axis, until it was seen at rest. */
void axis_disarm(axis_t *axis);

/* Commands: STATUS_OK or why not; nothing changed then. `tick` is the tick that carries the command out.
 * Whether the duty budget allows a start is asked before, by the caller; axis_tick ends a motion for it.
 * After STATUS_OK axis->motion is the number of the motion. A jog or run asked again in motion changes its
 * value and prolongs nothing. A move asked again during a move replaces it (new number).
 * With axis->trial set the same status is given, and nothing begins. */
uint8_t axis_jog(axis_t *axis, const settings_axis_t *set, uint32_t tick, uint8_t unit, int32_t value);
uint8_t axis_run(axis_t *axis, const settings_axis_t *set, uint32_t tick, int16_t output_permille);
uint8_t axis_seek(axis_t *axis, const settings_axis_t *set, uint32_t tick, int8_t direction);
uint8_t axis_move(axis_t *axis, const settings_axis_t *set, uint32_t tick, int32_t target_um, int32_t speed_um_s);

/* Category 0: output off in this very tick; anything else: a ramp. `reason` is ENDED_STOPPED or ENDED_SESSION.
 * At rest: does nothing. */
void axis_stop(axis_t *axis, const settings_axis_t *set, uint8_t category, uint8_t reason);

/* A fault of the board stops the axis whatever commands it, each tick while one stands: too high a supply at once and by
 * brake, all others by a ramp. */
void axis_stop_by_board(axis_t *axis, const settings_axis_t *set, uint8_t fault);

/* The host's echo of a tick, already found newer than every echo before it. Never revives an ended motion. */
void axis_renew(axis_t *axis, uint32_t echoed_tick);

/* Clears latched faults, if no motion is commanded and output is 0. Returns those that stood; 0 otherwise. */
uint32_t axis_clear(axis_t *axis);

/* No motion under way and output 0: settings may be committed, the board restarted. */
uint8_t axis_at_rest(const axis_t *axis);

/* A motion is commanded, and neither stopping nor waiting for rest behind a stop. */
uint8_t axis_is_moving(const axis_t *axis);

/* Everything of one tick. */
void axis_tick(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out);

/* Behind axis_tick: event n with its values. */
void axis_event(const axis_t *axis, const axis_out_t *out, uint8_t n, axis_event_t *event);

#endif
