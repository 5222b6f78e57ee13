#include "axis.h"

#include "div.h"
#include "number.h"

#define TICK_MS 5
#define TICKS_PER_S 200
#define HOLD_TICKS (HOLD_MS / TICK_MS)
#define RAMP_OPEN 30                /* permille a tick where no speed is known: full in 170 ms, creep in 100 */
#define RESERVE_OPEN 26             /* ticks: the ramp down from a probe at the highest creep */
#define RESERVE_FULL 36             /* and from full */
#define RUN_UP 17                   /* permille a tick: full in 0.3 s, so that the start draws no stall current */
#define REST_BLOCKS 12              /* looked at for rest, at most: about 1 s */
#define INCHES 6
#define FOLD_LEAST 10               /* 4 permille: below it the trip alone guards */
#define FOLD_MOST 250
#define UNFOLDED 255                /* no ceiling yet in this motion */
#define WAY_STEP 32                 /* raw a tick: stands out of any noise that may be set */
#define KNOWN (AXIS_FLAGS_NEAR_RETRACTED | AXIS_FLAGS_NEAR_EXTENDED | AXIS_FLAGS_BETWEEN)

static uint8_t is_fitted(const settings_axis_t *set)
{
    return set->feedback != FEEDBACK_NOT_FITTED;
}

static uint8_t has_two_wires(const settings_axis_t *set)
{
    return set->feedback == FEEDBACK_NONE;
}

uint8_t axis_is_moving(const axis_t *axis)
{
    return axis->state >= AXIS_STATE_JOG && axis->state <= AXIS_STATE_MOVE;
}

static uint8_t is_under_way(const axis_t *axis)
{
    return axis->state >= AXIS_STATE_JOG && axis->state <= AXIS_STATE_STOPPING;
}

void axis_init(axis_t *axis)
{
    memset(axis, 0, sizeof *axis);
    axis->also = CORE_LOCAL_INPUTS ? AXIS_ALSO_LOCAL : 0;   /* without a local input not for long */
}

void axis_disarm(axis_t *axis)
{
    axis->also &= (uint8_t)~AXIS_ALSO_ARMED;
    if (CORE_LOCAL_INPUTS) {
        axis->local->quiet = 0;
        axis->local->asked = 0;
    }
}

void axis_settings_changed(axis_t *axis)
{
    axis_disarm(axis);
    memset(&axis->position, 0, sizeof axis->position);
    axis->current_scale = 0;
    axis->flags = 0;
    guard_begin(&axis->guard);
}

uint8_t axis_at_rest(const axis_t *axis)
{
    return !is_under_way(axis) && axis->output_permille == 0;
}

/* ---------------------------------------------------------------- readings */

/* 9 fraction bits; on 4092 counts without a loss that 32 bits do not force. */
static int32_t uv_per_count(uint16_t board_mv)
{
    const int32_t full = CORE_CURRENT_FULL_SCALE;
    const int32_t whole = full % 4 == 0 ? 4 : 1;
    return div_toward_zero((int32_t)board_mv * 128000, full / whole) * (4 / whole);
}

/* mA per count: uV per count by uV per mA, 11 fraction bits. A ratiometric sensor follows the converter's own
 * reference, whatever that is just now. */
static void take_current(axis_t *axis, const settings_axis_t *set, const axis_in_t *in)
{
    uint16_t board_mv = set->current_sensor_ratiometric ? CORE_REFERENCE_MV : in->board_mv;
    if (axis->current_scale == 0 || axis->board_mv != board_mv) {
        axis->board_mv = board_mv;
        axis->current_scale = (uint32_t)larger(div_toward_zero(uv_per_count(board_mv) * 4, set->current_uv_per_ma), 1);
    }
    int32_t counts = (int32_t)in->current4 - (int32_t)set->current_zero;
    if (set->current_sensor == CURRENT_SENSOR_CENTRED) {
        counts = absolute(counts);
    }
    int32_t current = halved(counts * (int32_t)axis->current_scale, 11);
    axis->current_ma = set->current_sensor == CURRENT_SENSOR_NONE ? 0 : (int16_t)between(current, -32767, 32767);
}

/* How far beyond a soft stop, counted along; below 0 inside. */
static int32_t beyond_max(const axis_t *axis, const settings_axis_t *set)
{
    return axis->position_um - set->soft_stop_max_um;
}

/* Beyond a soft stop by more than noise alone would show. */
static uint8_t is_outside(const axis_t *axis, const settings_axis_t *set)
{
    int32_t most = larger(beyond_max(axis, set), set->soft_stop_min_um - axis->position_um);
    return most > position_count_um(&axis->position) + axis->position.noise_um;
}

static void set_flag(axis_t *axis, uint8_t flag, uint8_t on)
{
    axis->flags &= (uint8_t)~flag;
    if (on) {
        axis->flags |= flag;
    }
}

static void take_readings(axis_t *axis, const settings_axis_t *set, const axis_in_t *in)
{
    take_current(axis, set, in);
    position_update(&axis->position, set, has_two_wires(set) ? axis->way : in->raw);
    axis->position_um = position_um(&axis->position);
    axis->speed_um_s = has_two_wires(set) ? 0 : position_speed(&axis->position);
    axis->flags &= AXIS_FLAGS_PROVEN | KNOWN;
    if (set->calibrated) {
        axis->flags |= AXIS_FLAGS_CALIBRATED;
        set_flag(axis, AXIS_FLAGS_OUTSIDE, is_outside(axis, set));
    }
}

static uint8_t end_towards(int32_t direction)
{
    return direction < 0 ? AXIS_FLAGS_NEAR_RETRACTED : AXIS_FLAGS_NEAR_EXTENDED;
}

/* Where a rod without a pot is known to be, one of KNOWN; 0: unknown. */
static void know(axis_t *axis, uint8_t flag)
{
    axis->flags = (uint8_t)((axis->flags & ~KNOWN) | flag);
}

/* Motion in the commanded direction: 1 mm or 4 sigma. */
static void see_proof(axis_t *axis, const settings_axis_t *set)
{
    int32_t went = along(axis->position_um - axis->from_um, axis->last_sign);
    if (set->calibrated && axis->last_sign != 0 && went >= larger(1000, axis->position.noise_um * 2)) {
        axis->flags |= AXIS_FLAGS_PROVEN;
    }
}

static void look(const axis_t *axis, const axis_in_t *in, motion_in_t *view)
{
    view->axis = axis;
    view->in = in;
}

/* ---------------------------------------------------------------- commands */

static uint8_t refuse(const axis_t *axis, const settings_axis_t *set, uint8_t needs_calibrated)
{
    if (!is_fitted(set)) {
        return STATUS_NOT_FITTED;
    }
    if (axis->faults != 0) {
        return STATUS_FAULTED;
    }
    if (needs_calibrated != set->calibrated) {
        return needs_calibrated ? STATUS_UNCALIBRATED : STATUS_CALIBRATED;
    }
    return STATUS_OK;
}

/* The same for what only the current can end, where there is no pot. */
static uint8_t refuse_by_current(const axis_t *axis, const settings_axis_t *set, uint8_t needs_calibrated)
{
    uint8_t status = refuse(axis, set, needs_calibrated);
    if (status == STATUS_OK && has_two_wires(set) && set->current_sensor == CURRENT_SENSOR_NONE) {
        status = STATUS_NOT_SUPPORTED;
    }
    return status;
}

/* A motion may begin from rest, from the wait for rest, or take the place of one of its own kind. */
static CORE_ONCE uint8_t refuse_start(const axis_t *axis, uint8_t command)
{
    if (axis->state == AXIS_STATE_STOPPING && !axis->resting) {
        return STATUS_STOP_STANDING;
    }
    return axis_is_moving(axis) && axis->command != command ? STATUS_IN_MOTION : STATUS_OK;
}

static CORE_ONCE void begin(axis_t *axis, uint32_t tick, uint8_t command, uint16_t hold_ticks)
{
    if (axis->trial) {
        return;
    }
    if (axis->ended == ENDED_RUNNING) {
        axis->left_reason = axis_is_moving(axis) ? ENDED_REPLACED : axis->stop_reason;
    }
    axis->motion++;
    if (axis->motion == 0) {
        axis->motion = 1;
    }
    axis->state = command;
    axis->command = command;
    axis->ended = ENDED_RUNNING;
    axis->cause = 0;
    axis->on_ticks = 0;
    memset(&axis->rest_raw, 0, offsetof(axis_t, on_ticks) - offsetof(axis_t, rest_raw));
    axis->inches = 0;
    axis->wait = 0;
    if (axis->output_permille == 0) {
        guard_begin(&axis->guard);      /* from rest: nothing of an earlier motion counts against this one */
        axis->reserve = 0;
        axis->ceiling = UNFOLDED;
    }
    axis->hold_ticks = hold_ticks;
    axis->hold_until = tick + hold_ticks;
}

static void demand(axis_t *axis, int32_t value, int32_t um_s, uint32_t reserve)
{
    if (axis->trial) {
        return;
    }
    axis->demand = value;
    axis->demand_um_s = um_s;
    axis->changed = 1;
    axis->reserve = (uint16_t)larger(axis->reserve, smaller((int32_t)reserve, 65535));
}

static uint8_t goes_further_out(const axis_t *axis, const settings_axis_t *set, int32_t value)
{
    return (axis->flags & AXIS_FLAGS_OUTSIDE) && (beyond_max(axis, set) > 0) == (value > 0);
}

static CORE_ONCE uint32_t ramp_ticks(const settings_axis_t *set, int32_t um_s)
{
    return div_up((uint32_t)um_s * TICKS_PER_S, (uint32_t)set->deceleration_um_s2) + 2;
}

/* What a run's output falls by in a tick, permille. */
static int16_t run_down(const settings_axis_t *set, int32_t full_um_s)
{
    int32_t down = div_toward_zero(smaller(set->deceleration_um_s2, 400000) * TICK_MS, full_um_s) + 1;
    return (int16_t)smaller(down, 1000);
}

/* Jog, run and seek: 0 ends; the same kind under way takes the new value. STATUS_OK: demand it, unless it is 0. */
static uint8_t hold_to_run(axis_t *axis, const settings_axis_t *set, uint32_t tick, uint8_t command, int32_t value)
{
    uint8_t status = refuse_start(axis, command);
    if (value == 0 && status != STATUS_IN_MOTION) {
        axis_stop(axis, set, 1, ENDED_STOPPED);
        return STATUS_OK;
    }
    if (status == STATUS_OK && goes_further_out(axis, set, value)) {
        return STATUS_OUTSIDE;
    }
    if (status == STATUS_OK && !axis_is_moving(axis)) {
        begin(axis, tick, command, HOLD_TICKS);
    }
    return status;
}

uint8_t axis_jog(axis_t *axis, const settings_axis_t *set, uint32_t tick, uint8_t unit, int32_t value)
{
    if (unit > JOG_UNIT_SPEED) {
        return STATUS_BAD_VALUE;
    }
    uint8_t status = refuse(axis, set, unit);
    int32_t most = unit == JOG_UNIT_SPEED ? set->speed_max_um_s : 1000;
    if (status != STATUS_OK) {
        return status;
    }
    if (value > most || value < -most) {
        return STATUS_BAD_VALUE;
    }
    status = hold_to_run(axis, set, tick, AXIS_STATE_JOG, value);
    if (status != STATUS_OK || value == 0) {
        return status;
    }
    if (unit == JOG_UNIT_SPEED) {
        int32_t um_s = absolute(value);
        demand(axis, value < 0 ? -MOTION_FAR : MOTION_FAR, um_s, ramp_ticks(set, um_s));
    } else {
        most = set->creep_output_permille;
        demand(axis, between(value, -most, most), 0, RESERVE_OPEN);
    }
    return status;
}

/* Without a pot: to the end that the sign names, decided by current and time. */
static uint8_t run_to_end(axis_t *axis, const settings_axis_t *set, uint32_t tick, int16_t output_permille)
{
    if (set->stroke_time_extend_cs == 0 || set->stroke_time_retract_cs == 0) {
        return STATUS_UNCALIBRATED;
    }
    int16_t most = (int16_t)set->output_max_permille;
    if (output_permille != 0 && output_permille < most && output_permille > -most) {
        return STATUS_BAD_VALUE;
    }
    if (output_permille != 0 && axis_is_moving(axis)) {
        return STATUS_IN_MOTION;
    }
    uint8_t status = hold_to_run(axis, set, tick, AXIS_STATE_RUN, output_permille);
    if (status == STATUS_OK && output_permille != 0) {
        axis->whole_way = (axis->flags & end_towards(-output_permille)) != 0;
        demand(axis, output_permille < 0 ? -most : most, 0, RESERVE_FULL);
    }
    return status;
}

uint8_t axis_run(axis_t *axis, const settings_axis_t *set, uint32_t tick, int16_t output_permille)
{
    uint8_t status = refuse_by_current(axis, set, !has_two_wires(set));
    if (status != STATUS_OK) {
        return status;
    }
    if (output_permille > 1000 || output_permille < -1000) {
        return STATUS_BAD_VALUE;
    }
    if (has_two_wires(set)) {
        return run_to_end(axis, set, tick, output_permille);
    }
    status = hold_to_run(axis, set, tick, AXIS_STATE_RUN, output_permille);
    if (status == STATUS_OK && output_permille != 0) {
        int32_t fastest = larger(motion_full_speed(set, 1), motion_full_speed(set, -1));
        demand(axis, output_permille, set->creep_speed_um_s, div_up(1000, (uint32_t)run_down(set, fastest)) + 2);
    }
    return status;
}

uint8_t axis_seek(axis_t *axis, const settings_axis_t *set, uint32_t tick, int8_t direction)
{
    uint8_t status = refuse_by_current(axis, set, 0);
    if (status != STATUS_OK) {
        return status;
    }
    if (direction != 1 && direction != -1) {
        return STATUS_BAD_VALUE;
    }
    if (axis_is_moving(axis)) {
        return STATUS_IN_MOTION;
    }
    status = hold_to_run(axis, set, tick, AXIS_STATE_SEEK, direction);
    if (status == STATUS_OK) {
        demand(axis, direction, 0, RESERVE_OPEN);
    }
    return status;
}

uint8_t axis_move(axis_t *axis, const settings_axis_t *set, uint32_t tick, int32_t target_um, int32_t speed_um_s)
{
    uint8_t status = refuse(axis, set, 1);
    if (status != STATUS_OK) {
        return status;
    }
    if (speed_um_s < 0 || speed_um_s > set->speed_max_um_s) {
        return STATUS_BAD_VALUE;
    }
    if (target_um < set->soft_stop_min_um || target_um > set->soft_stop_max_um) {
        return STATUS_OUTSIDE;
    }
    status = refuse_start(axis, AXIS_STATE_MOVE);
    if (status == STATUS_OK && !axis->trial) {
        int32_t um_s = speed_um_s == 0 ? set->speed_max_um_s : speed_um_s;
        begin(axis, tick, AXIS_STATE_MOVE, set->move_hold_ms / TICK_MS);
        demand(axis, target_um, um_s, ramp_ticks(set, um_s));
    }
    return status;
}

static void rest_now(axis_t *axis)
{
    axis->resting = 1;
    axis->rest_block = axis->position.block;
    position_new_block(&axis->position);
}

/* With no more output than now: a rod that something holds is not pushed harder for being told to stop. */
static void ramp_down(axis_t *axis)
{
    axis->track.ramp_down = (int16_t)absolute(axis->output_permille);
}

void axis_stop(axis_t *axis, const settings_axis_t *set, uint8_t category, uint8_t reason)
{
    if (!is_under_way(axis)) {
        return;
    }
    if (axis->state != AXIS_STATE_STOPPING) {
        axis->state = AXIS_STATE_STOPPING;
        axis->stop_reason = reason;
        if (set->calibrated) {
            ramp_down(axis);
        }
    }
    if (!axis->resting && (category != 1 || axis->output_permille == 0)) {
        rest_now(axis);
    }
}

void axis_stop_by_board(axis_t *axis, const settings_axis_t *set, uint8_t fault)
{
    uint8_t at_once = fault == FAULT_SUPPLY_HIGH;
    if (axis->ended == ENDED_RUNNING) {
        axis->cause = fault;
    }
    if (at_once && axis->used != AXIS_RESTS_OFF) {
        axis->used = AXIS_RESTS_BRAKED;
    }
    axis_stop(axis, set, !at_once, ENDED_FAULT);
}

void axis_renew(axis_t *axis, uint32_t echoed_tick)
{
    uint32_t until = echoed_tick + axis->hold_ticks;
    if ((int32_t)(until - axis->hold_until) > 0) {
        axis->hold_until = until;
    }
}

uint32_t axis_clear(axis_t *axis)
{
    uint32_t stood = axis->faults;
    if (!axis_at_rest(axis) || stood == 0) {
        return 0;
    }
    axis->faults = 0;
    axis->state = AXIS_STATE_IDLE;
    guard_begin(&axis->guard);
    return stood;
}

/* ---------------------------------------------------------------- ends */

static void tell(axis_out_t *out, uint8_t kind, uint8_t cause)
{
    if (out->events == AXIS_EVENTS_MAX) {
        out->events--;
    }
    axis_told_t *told = &out->told[out->events++];
    told->kind = kind;
    told->cause = cause;
}

static void tell_left(axis_t *axis, axis_out_t *out)
{
    if (axis->left_reason != 0) {
        tell(out, EVENT_KIND_MOTION_ENDED | AXIS_LEFT, axis->left_reason);
        axis->left_reason = 0;
    }
}

static void end(axis_t *axis, axis_out_t *out, uint8_t reason)
{
    axis->ended = reason;
    axis->resting = 0;
    axis->state = axis->faults != 0 ? AXIS_STATE_FAULT : AXIS_STATE_IDLE;
    tell(out, EVENT_KIND_MOTION_ENDED, reason);
}

static void latch(axis_t *axis, axis_out_t *out, uint8_t fault)
{
    uint32_t bit = UINT32_C(1) << (fault - 1);
    if (axis->ended == ENDED_RUNNING) {
        axis->cause = fault;
    }
    if (!(axis->faults & bit)) {
        axis->faults |= bit;
        tell(out, EVENT_KIND_TRIP, fault);
    }
}

/* Stop category 0 for a fault; over-current may be a shorted motor, so the bridge goes off rather than to brake. */
static void trip(axis_t *axis, axis_out_t *out, uint8_t fault)
{
    latch(axis, out, fault);
    if (fault == FAULT_OVER_CURRENT) {
        axis->used = AXIS_RESTS_OFF;
    }
    if (axis->ended == ENDED_RUNNING) {
        axis->rest_raw = axis->raw;
        axis->rest_position_um = axis->position_um;
        end(axis, out, ENDED_FAULT);
    }
    axis->state = AXIS_STATE_FAULT;
}

static void end_silent_hold(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    if (axis_is_moving(axis) && (int32_t)(in->tick - axis->hold_until) > 0) {
        if (axis->command == AXIS_STATE_MOVE) {
            latch(axis, out, FAULT_MOVE_SILENCE);
        }
        axis_stop(axis, set, 1, ENDED_SILENCE);
    }
}

static void spend_duty(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    if (axis_is_moving(axis) && in->duty_room <= axis->reserve) {
        tell(out, EVENT_KIND_DUTY_SPENT, 0);
        axis_stop(axis, set, 1, ENDED_DUTY);
    }
    if (in->duty_room == 0) {
        axis_stop(axis, set, 0, ENDED_DUTY);    /* the budget holds, whatever a ramp was reckoned to take */
    }
}

/* ---------------------------------------------------------------- guards */

/* Once too warm, it trips again until it has come 1 % below the warning level. */
static void watch_heat(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    uint16_t warn = (uint16_t)(set->thermal_warn_percent * 10u);
    if (in->heat < warn - 10) {
        axis->also &= (uint8_t)~(AXIS_ALSO_WARM | TOO_WARM);
    } else if (in->heat >= warn && !(axis->also & AXIS_ALSO_WARM)) {
        axis->also |= AXIS_ALSO_WARM;
        tell(out, EVENT_KIND_WARM, 0);
    }
    if (in->heat >= set->thermal_trip_percent * 10u) {
        axis->also |= TOO_WARM;
    }
    if (axis->also & TOO_WARM) {
        latch(axis, out, FAULT_THERMAL);
        axis_stop(axis, set, 1, ENDED_FAULT);
        if (!is_under_way(axis)) {
            axis->state = AXIS_STATE_FAULT;
        }
    }
}

/* The way is over: a move waits for rest and is judged, a jog has come to its soft stop. */
static void arrive(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    if (axis->state == AXIS_STATE_MOVE) {
        rest_now(axis);
    } else {
        tell(out, EVENT_KIND_SOFT_STOP, 0);
        axis_stop(axis, set, 0, ENDED_SOFT_STOP);
    }
}

static uint8_t is_near_its_goal(const axis_t *axis, const settings_axis_t *set)
{
    return (axis->state == AXIS_STATE_MOVE || axis->state == AXIS_STATE_JOG) && set->calibrated &&
           absolute(whole(axis->track.target) - along(axis->position_um, axis->track.direction)) <= motion_tolerance(set);
}

/* A rod without a pot whose motor has not drawn what a running one does for the stall time: `fault` says what it draws.
 * Lost current is an end switch that opened, or a lead; risen current an end, or something in the way. Only the time
 * tells one from the other, and that of a run alone that began at the other end. */
static void judge_current(axis_t *axis, const settings_axis_t *set, axis_out_t *out, uint8_t fault, uint16_t time_cs)
{
    uint8_t end_there = end_towards(axis->guard.direction);
    uint8_t found = (axis->flags & end_there) != 0 || (fault == FAULT_NO_CURRENT && axis->guard.moved);
    if (axis->command != AXIS_STATE_RUN) {
        fault = fault == FAULT_NO_CURRENT ? 0 : fault;
    } else if (!axis->whole_way) {
        fault = 0;
    } else {
        found = axis->guard.moved && (axis->on_ticks - axis->guard.still_ticks) * 5 >= time_cs * UINT32_C(8);
    }
    if (found) {
        know(axis, end_there);
        axis_stop(axis, set, 0, ENDED_END_FOUND);
    } else if (fault != 0) {
        trip(axis, out, fault);
    } else {
        axis->flags &= (uint8_t)~AXIS_FLAGS_BETWEEN;
        axis_stop(axis, set, 0, ENDED_UNFINISHED);
    }
}

static void watch_current(axis_t *axis, const settings_axis_t *set, axis_out_t *out, uint8_t fault)
{
    uint16_t time_cs = axis->guard.direction < 0 ? set->stroke_time_retract_cs : set->stroke_time_extend_cs;
    if (guard_runs(&axis->guard, set, axis)) {
        axis->way = (uint16_t)(axis->way + WAY_STEP);
        if (axis->command == AXIS_STATE_RUN && axis->on_ticks * 5 >= time_cs * UINT32_C(12)) {
            trip(axis, out, FAULT_NO_END);
        }
    } else if (fault != 0 && set->current_sensor != CURRENT_SENSOR_NONE && axis->command != AXIS_STATE_SEEK) {
        judge_current(axis, set, out, fault, time_cs);
    }
}

static void watch_motion(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    uint8_t fault = guard_motion(&axis->guard, set, axis);
    if (has_two_wires(set)) {
        watch_current(axis, set, out, fault);
    } else if (fault == FAULT_NO_CURRENT && !set->calibrated) {
        /* an end switch has opened, as it should; or, if nothing ever moved, the host has to find out */
        axis_stop(axis, set, 0, axis->guard.moved ? ENDED_END_FOUND : ENDED_UNFINISHED);
    } else if (fault != 0 && fault != FAULT_WRONG_WAY && is_near_its_goal(axis, set)) {
        axis->inches = INCHES;          /* a load that grows on the way bars the rest of it */
        arrive(axis, set, out);
    } else if (fault != 0) {
        trip(axis, out, fault);
    }
}

static void watch(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    uint8_t fault = guard_pot_band(&axis->guard, set, axis->raw, axis->output_permille != 0);
    if (fault != 0 && !has_two_wires(set)) {
        trip(axis, out, fault);
    }
    if (axis->position.jumped == 2) {
        guard_begin(&axis->guard);      /* where it jumped to is where it rests */
        trip(axis, out, FAULT_POT_JUMP);
    }
    if (set->calibrated && axis_at_rest(axis) && guard_moving_off(&axis->guard, &axis->position, axis->position_um)) {
        trip(axis, out, FAULT_MOVING_OFF);
    }
    if (axis->output_permille == 0) {
        axis->guard.over_ticks = 0;
        return;
    }
    fault = guard_over_current(&axis->guard, set, axis->current_ma);
    if (fault != 0) {
        trip(axis, out, fault);
    }
    if (axis->command != AXIS_STATE_SEEK || has_two_wires(set)) {
        watch_motion(axis, set, out);
    }
}

/* ---------------------------------------------------------------- rest */

static void begin_way(axis_t *axis, const settings_axis_t *set, const motion_in_t *view)
{
    int32_t um_s = axis->inches > 0 ? smaller(axis->demand_um_s, set->creep_speed_um_s) : axis->demand_um_s;
    motion_begin(&axis->track, set, view, axis->demand, um_s);
    axis->from_um = axis->position_um;
    axis->resting = 0;
}

/* A move has come to rest: there, or one more inch, or as near as it gets. */
static void judge_move(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    int32_t error = absolute(axis->demand - axis->rest_position_um);
    int32_t tolerance = motion_tolerance(set);
    uint8_t held = axis->track.held;
    if (!held && axis->inches < INCHES && error > div_toward_zero(tolerance, 3)) {
        axis->inches++;
        begin_way(axis, set, view);
        return;
    }
    uint8_t reason = ENDED_REACHED;
    if (error > tolerance) {
        reason = ENDED_UNFINISHED;
        if (held) {
            reason = ENDED_SOFT_STOP;
            tell(out, EVENT_KIND_SOFT_STOP, 0);
        }
    }
    end(axis, out, reason);
}

static void wait_for_rest(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (!axis->position.block_ready) {
        return;
    }
    int32_t now = axis->position.block;
    int32_t moved = absolute(now - axis->rest_block);
    axis->rest_block = now;
    axis->resting++;
    if (axis->resting <= REST_BLOCKS && (axis->resting <= 2 || moved >= axis->position.threshold)) {
        return;
    }
    axis->rest_raw = axis->raw;
    if (!set->calibrated && !has_two_wires(set)) {
        axis->rest_raw = (uint16_t)((now + POSITION_BLOCK / 2) / POSITION_BLOCK);
    }
    axis->rest_position_um = position_block_um(&axis->position);
    if (axis->state == AXIS_STATE_MOVE) {
        judge_move(axis, set, view, out);
    } else {
        end(axis, out, axis->stop_reason);
    }
}

/* ---------------------------------------------------------------- output */

/* Towards `wanted` by at most `up` or `down` permille, through 0 if the sign changes. */
static int16_t slew(int16_t output, int16_t wanted, int16_t up, int16_t down)
{
    int8_t direction = output < 0 || (output == 0 && wanted < 0) ? -1 : 1;
    if (direction < 0) {
        output = (int16_t)-output;
        wanted = (int16_t)-wanted;
    }
    if (wanted < 0) {
        wanted = 0;
    }
    if (wanted > output + up) {
        wanted = (int16_t)(output + up);
    } else if (wanted < output - down) {
        wanted = (int16_t)(output - down);
    }
    return direction < 0 ? (int16_t)-wanted : wanted;
}

static int16_t open_seek(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    seek_t *seek = &axis->seek;
    if (axis->changed) {
        axis->changed = 0;
        seek_begin(seek, set, &axis->position);
    }
    uint8_t said = seek_tick(seek, set, &axis->position, axis->current_ma);
    int16_t output = (int16_t)set->creep_output_permille;
    axis->state = AXIS_STATE_SEEK;
    if (said != SEEK_GOING) {
        axis->state = AXIS_STATE_PROBE;
        output = (int16_t)(output + output / 5);
        output = output < (int16_t)set->output_max_permille ? output : (int16_t)set->output_max_permille;
    }
    axis->current_before_ma = seek->current_before;
    axis->current_stop_ma = seek->current_stop;
    axis->current_probe_ma = seek->current_probe;
    if (said == SEEK_FOUND) {
        tell(out, EVENT_KIND_END_FOUND, 0);
        if (has_two_wires(set) && seek->runs > 0) {
            know(axis, end_towards(axis->demand));
        }
        axis_stop(axis, set, 0, ENDED_END_FOUND);
    }
    return axis->demand < 0 ? (int16_t)-output : output;
}

/* By output, uncalibrated: jog and seek. */
static int16_t drive_open(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    int16_t wanted = (int16_t)axis->demand;
    if (axis->state == AXIS_STATE_STOPPING) {
        wanted = 0;
    } else if (axis->command == AXIS_STATE_SEEK) {
        wanted = open_seek(axis, set, out);
    }
    return slew(axis->output_permille, wanted, RAMP_OPEN, RAMP_OPEN);
}

/* By output, calibrated. */
static int16_t drive_run(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (axis->output_permille == 0 && axis->changed) {
        motion_begin_run(&axis->track, set, axis->demand < 0 ? -1 : 1);
        axis->changed = 0;
        axis->from_um = axis->position_um;
    }
    if (motion_forbids(&axis->track, view)) {
        axis->flags |= AXIS_FLAGS_HELD_BACK;
        tell(out, EVENT_KIND_SOFT_STOP, 0);
        axis_stop(axis, set, 0, ENDED_SOFT_STOP);
        return 0;
    }
    int32_t most = motion_creeps(view) ? set->creep_output_permille : set->output_max_permille;
    int16_t wanted = (int16_t)between(axis->demand, -most, most);
    if (axis->state == AXIS_STATE_STOPPING) {
        if (absolute(axis->output_permille) <= motion_dead(set, axis->track.direction)) {
            return 0;               /* below the dead zone the ramp has ended */
        }
        wanted = 0;
    }
    return slew(axis->output_permille, wanted, RUN_UP, run_down(set, motion_full_speed(set, axis->track.direction)));
}

/* What was asked for anew while under way: at once where the ramps allow, else by way of a stop. */
static void take_change(axis_t *axis, const settings_axis_t *set, const motion_in_t *view)
{
    axis->changed = 0;
    if (axis->output_permille == 0) {
        begin_way(axis, set, view);
    } else if (!motion_change(&axis->track, view, axis->demand, axis->demand_um_s)) {
        ramp_down(axis);
    }
}

static void ramp_or_rest(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out,
                         uint8_t said)
{
    if (said == MOTION_ARRIVED) {
        axis->track.held = 0;
    }
    if (said == MOTION_RAMPED_DOWN && axis->state != AXIS_STATE_STOPPING) {
        begin_way(axis, set, view);
    } else if (said == MOTION_RAMPED_DOWN) {
        rest_now(axis);
    } else {
        arrive(axis, set, out);
    }
}

/* By a reference, calibrated: jog and move. */
static int16_t drive_way(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (axis->changed && axis->state != AXIS_STATE_STOPPING) {
        take_change(axis, set, view);
    }
    uint8_t said;
    motion_t *track = &axis->track;
    int16_t output = motion_tick(track, set, view, &said);
    set_flag(axis, AXIS_FLAGS_HELD_BACK, track->held);
    if (track->behind >= MOTION_BEHIND && set->following_um != 0 && axis_is_moving(axis)) {
        latch(axis, out, FAULT_FOLLOWING);
        axis_stop(axis, set, 1, ENDED_FAULT);
    }
    output = (int16_t)smaller(output, track->ramp_down != 0 ? track->ramp_down : output);
    if (said != MOTION_GOING) {
        ramp_or_rest(axis, set, view, out, said);
    }
    axis->reference_um = along(whole(track->reference), track->direction);
    return track->direction < 0 ? (int16_t)-output : output;
}

static int16_t drive(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (set->calibrated && axis->command != AXIS_STATE_RUN) {
        return drive_way(axis, set, view, out);
    }
    int16_t output = set->calibrated ? drive_run(axis, set, view, out) : drive_open(axis, set, out);
    if (axis->state == AXIS_STATE_STOPPING && output == 0 && !axis->resting) {
        rest_now(axis);
    }
    return output;
}

static int16_t act(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    axis->reference_um = axis->position_um;
    if (!is_under_way(axis)) {
        return 0;
    }
    motion_in_t view;
    look(axis, in, &view);
    if (axis->resting && axis->changed && axis_is_moving(axis)) {
        axis->resting = 0;
    } else if (axis->resting) {
        wait_for_rest(axis, set, &view, out);
    }
    if (!is_under_way(axis) || axis->resting || in->waits) {
        return 0;
    }
    int16_t output = drive(axis, set, &view, out);
    return axis->resting ? 0 : output;
}

/* Holds the current of a rod with a pot below fold_back_ma: the output's ceiling falls by an eighth in each tick with
 * more, and rises by 4 permille in all others. A seek wants to see the current. */
static int16_t fold_back(axis_t *axis, const settings_axis_t *set, int16_t output, axis_out_t *out)
{
    int16_t most = (int16_t)set->fold_back_ma;
    uint8_t ceiling = axis->ceiling;
    if (most != 0 && axis->current_ma > most && axis->last_sign != 0 && !has_two_wires(set) &&
        axis->command != AXIS_STATE_SEEK) {
        if (ceiling == UNFOLDED) {
            tell(out, EVENT_KIND_FOLD_BACK, 0);
        }
        ceiling = ceiling > FOLD_LEAST ? (uint8_t)(ceiling - (ceiling >> 3)) : FOLD_LEAST;
    } else if (ceiling < FOLD_MOST) {
        ceiling++;
    }
    axis->ceiling = ceiling;
    most = (int16_t)(ceiling * 4);
    axis->also &= (uint8_t)~AXIS_ALSO_FOLDED_BACK;
    if (output <= most && output >= -most) {
        return output;
    }
    axis->also |= AXIS_ALSO_FOLDED_BACK;
    return output < 0 ? (int16_t)-most : most;
}

/* The bridge for an output; one tick at 0 lies between opposite drives. */
static void put_out(axis_t *axis, const settings_axis_t *set, int16_t output, axis_out_t *out)
{
    int8_t sign = output > 0 ? 1 : output < 0 ? -1 : 0;
    if (sign + axis->last_sign == 0) {
        sign = 0;
        output = 0;
    }
    axis->last_sign = sign;
    axis->output_permille = output;
    if (sign != 0) {
        if (axis->flags & end_towards(-sign)) {
            know(axis, AXIS_FLAGS_BETWEEN);
        }
        axis->on_ticks++;
        axis->used = AXIS_RESTS_BY_SETTING;
        out->bridge = BRIDGE_DRIVE;
        out->drive = set->motor_reversed ? (int16_t)-output : output;
    } else if (axis->used > AXIS_RESTS_BY_SETTING || (axis->used && set->stop_by == STOP_BY_BRAKE)) {
        out->bridge = BRIDGE_BRAKE;
        axis->flags |= AXIS_FLAGS_BRAKING;
    }
}

void axis_tick(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    out->drive = 0;
    out->bridge = BRIDGE_OFF;
    out->events = 0;
    out->output_before = axis->output_permille;
    axis->raw = in->raw;
    if (!is_fitted(set)) {
        axis->state = AXIS_STATE_NOT_FITTED;
        return;
    }
    if (axis->state == AXIS_STATE_NOT_FITTED) {
        axis->state = axis->faults != 0 ? AXIS_STATE_FAULT : AXIS_STATE_IDLE;
    }
    take_readings(axis, set, in);
    see_proof(axis, set);
    tell_left(axis, out);
    watch(axis, set, out);
    end_silent_hold(axis, set, in, out);
    watch_heat(axis, set, in, out);
    spend_duty(axis, set, in, out);
    int16_t output = act(axis, set, in, out);
    put_out(axis, set, fold_back(axis, set, output, out), out);
}

/* The ticks with output are those before this one. */
void axis_event(const axis_t *axis, const axis_out_t *out, uint8_t n, axis_event_t *event)
{
    uint16_t motion = axis->motion;
    event->told = out->told[n];
    event->value_b = (int32_t)axis->on_ticks - (out->drive != 0);
    if (event->told.kind & AXIS_LEFT) {
        event->told.kind ^= AXIS_LEFT;
        event->value_b = 0;
        motion = motion == 1 ? 65535 : (uint16_t)(motion - 1);
    }
    event->value_a = motion;
    if (event->told.kind == EVENT_KIND_END_FOUND) {
        event->value_a = axis->current_before_ma;
        event->value_b = axis->current_probe_ma;
    }
}
