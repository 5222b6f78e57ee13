#include "axis.h"

#include "div.h"

#define TICK_MS 5
#define HOLD_TICKS (HOLD_MS / TICK_MS)
#define RAMP_OPEN 30                /* permille a tick where no speed is known: full in 170 ms, creep in 100 */
#define RESERVE_OPEN 26             /* ticks: the ramp down from a probe at the highest creep */
#define RUN_UP 17                   /* permille a tick: full in 0.3 s, so that the start draws no stall current */
#define REST_BLOCKS 12              /* looked at for rest, at most: about 1 s */
#define INCHES 6

static int32_t absolute(int32_t value)
{
    return value < 0 ? -value : value;
}

static int32_t smaller(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static uint8_t is_fitted(const settings_axis_t *set)
{
    return set->feedback != FEEDBACK_NOT_FITTED;
}

static uint8_t is_moving(const axis_t *axis)
{
    return axis->state >= AXIS_STATE_JOG && axis->state <= AXIS_STATE_MOVE;
}

static uint8_t is_open_loop(const axis_t *axis, const settings_axis_t *set)
{
    return !set->calibrated || axis->command == AXIS_STATE_RUN;
}

void axis_init(axis_t *axis)
{
    memset(axis, 0, sizeof *axis);
}

void axis_settings_changed(axis_t *axis)
{
    memset(&axis->position, 0, sizeof axis->position);
    axis->current_scale = 0;
    axis->flags = 0;
}

uint8_t axis_at_rest(const axis_t *axis)
{
    return !is_moving(axis) && axis->state != AXIS_STATE_STOPPING && axis->output_permille == 0;
}

/* ---------------------------------------------------------------- readings */

static void take_current(axis_t *axis, const settings_axis_t *set, const axis_in_t *in)
{
    if (axis->current_scale == 0 || axis->board_mv != in->board_mv) {
        axis->board_mv = in->board_mv;
        /* 5000 mV over 4092 counts; uV per count by uV per mA, 11 fraction bits */
        uint32_t scale = (uint32_t)in->board_mv * UINT32_C(512000) / UINT32_C(1023) / set->current_uv_per_ma;
        axis->current_scale = scale > 0 ? scale : 1;
    }
    int32_t counts = (int32_t)in->current4 - (int32_t)set->current_zero;
    int32_t current = (counts * (int32_t)axis->current_scale) >> 11;
    if (set->current_sensor == CURRENT_SENSOR_NONE) {
        current = 0;
    }
    axis->current_ma = (int16_t)(current > 32767 ? 32767 : current < -32767 ? -32767 : current);
}

/* Beyond a soft stop by more than noise alone would show. */
static uint8_t is_outside(const axis_t *axis, const settings_axis_t *set)
{
    int32_t count = position_count_um(&axis->position);
    int32_t zone = count + div_toward_zero(count * (int32_t)set->noise_x16, 8);
    return axis->position_um > set->soft_stop_max_um + zone || axis->position_um < set->soft_stop_min_um - zone;
}

static void set_flag(axis_t *axis, uint8_t flag, uint8_t on)
{
    axis->flags = (uint8_t)(on ? axis->flags | flag : axis->flags & ~flag);
}

static void take_readings(axis_t *axis, const settings_axis_t *set, const axis_in_t *in)
{
    axis->raw = in->raw;
    take_current(axis, set, in);
    if (!axis->position.started) {
        position_begin(&axis->position, set);
    }
    position_update(&axis->position, in->raw);
    axis->position_um = position_um(&axis->position, set);
    axis->speed_um_s = position_speed(&axis->position);
    set_flag(axis, AXIS_FLAGS_CALIBRATED, set->calibrated);
    set_flag(axis, AXIS_FLAGS_OUTSIDE, set->calibrated && is_outside(axis, set));
    set_flag(axis, AXIS_FLAGS_HELD_BACK, 0);
}

static void see_proof(axis_t *axis, const settings_axis_t *set)
{
    if (!set->calibrated || axis->output_permille == 0 || (axis->flags & AXIS_FLAGS_PROVEN)) {
        return;
    }
    int32_t went = axis->position_um - axis->from_um;
    int32_t noise = div_toward_zero(position_count_um(&axis->position) * (int32_t)set->noise_x16, 4);
    int32_t enough = noise > 1000 ? noise : 1000;
    if ((axis->output_permille < 0 ? -went : went) >= enough) {
        set_flag(axis, AXIS_FLAGS_PROVEN, 1);
    }
}

static motion_in_t motion_view(const axis_t *axis, const axis_in_t *in)
{
    motion_in_t view;
    view.um = axis->position_um;
    view.um_s = axis->speed_um_s;
    view.count_um = position_count_um(&axis->position);
    view.supply_mv = in->supply_mv;
    view.supply_nominal_mv = in->supply_nominal_mv;
    view.creep = !(axis->flags & AXIS_FLAGS_PROVEN) || (axis->flags & AXIS_FLAGS_OUTSIDE);
    return view;
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

/* A motion may begin from rest, from the wait for rest, or take the place of one of its own kind. */
static uint8_t refuse_start(const axis_t *axis, uint8_t command)
{
    if (axis->state == AXIS_STATE_STOPPING && !axis->resting) {
        return STATUS_STOP_STANDING;
    }
    if (is_moving(axis) && axis->command != command) {
        return STATUS_IN_MOTION;
    }
    return STATUS_OK;
}

static void begin(axis_t *axis, uint32_t tick, uint8_t command, uint16_t hold_ticks)
{
    if (axis->ended == ENDED_RUNNING) {
        axis->left_reason = is_moving(axis) ? ENDED_REPLACED : axis->stop_reason;
        axis->left_motion = axis->motion;
        axis->left_on_ticks = axis->on_ticks;
    }
    axis->motion = (uint16_t)(axis->motion == 65535 ? 1 : axis->motion + 1);
    axis->state = command;
    axis->command = command;
    axis->ended = ENDED_RUNNING;
    axis->cause = 0;
    axis->on_ticks = 0;
    axis->rest_raw = 0;
    axis->rest_position_um = 0;
    axis->current_before_ma = axis->current_stop_ma = axis->current_probe_ma = 0;
    axis->inches = 0;
    axis->changed = 1;
    axis->off = 0;
    if (axis->output_permille == 0) {
        guard_begin(&axis->guard);      /* from rest: nothing of an earlier motion counts against this one */
    }
    axis->hold_ticks = hold_ticks;
    axis->hold_until = tick + hold_ticks;
}

static uint8_t goes_further_out(const axis_t *axis, const settings_axis_t *set, int32_t value)
{
    if (!(axis->flags & AXIS_FLAGS_OUTSIDE)) {
        return 0;
    }
    return axis->position_um > set->soft_stop_max_um ? value > 0 : value < 0;
}

static uint16_t reserve_for(const settings_axis_t *set, uint8_t command, int32_t speed_um_s)
{
    if (!set->calibrated) {
        return RESERVE_OPEN;
    }
    if (command == AXIS_STATE_RUN) {
        int32_t extend = motion_full_speed(set, 1);
        int32_t retract = motion_full_speed(set, -1);
        speed_um_s = extend > retract ? extend : retract;
    }
    uint32_t ticks = motion_ramp_ticks(set, speed_um_s) + 2;
    return (uint16_t)(ticks < 65535 ? ticks : 65535);
}

/* Jog, run and seek, asked for with a value that is good. 0 ends; the same kind under way takes the new value. */
static uint8_t hold_to_run(axis_t *axis, const settings_axis_t *set, uint32_t tick, uint8_t command, int32_t value,
                           uint16_t reserve)
{
    uint8_t status = refuse_start(axis, command);
    if (status != STATUS_OK) {
        return value == 0 && status == STATUS_STOP_STANDING ? STATUS_OK : status;
    }
    if (value == 0) {
        axis_stop(axis, set, 1, ENDED_STOPPED);
        return STATUS_OK;
    }
    if (set->calibrated && goes_further_out(axis, set, value)) {
        return STATUS_OUTSIDE;
    }
    if (!is_moving(axis)) {
        begin(axis, tick, command, HOLD_TICKS);
    }
    axis->reserve = axis->reserve > reserve && axis->output_permille != 0 ? axis->reserve : reserve;
    axis->demand = value;
    axis->changed = 1;
    return STATUS_OK;
}

uint8_t axis_jog(axis_t *axis, const settings_axis_t *set, uint32_t tick, uint8_t unit, int32_t value)
{
    if (unit > JOG_UNIT_SPEED) {
        return STATUS_BAD_VALUE;
    }
    uint8_t status = refuse(axis, set, unit == JOG_UNIT_SPEED);
    if (status != STATUS_OK) {
        return status;
    }
    int32_t most = unit == JOG_UNIT_SPEED ? set->speed_max_um_s : 1000;
    if (value > most || value < -most) {
        return STATUS_BAD_VALUE;
    }
    return hold_to_run(axis, set, tick, AXIS_STATE_JOG, value, reserve_for(set, AXIS_STATE_JOG, absolute(value)));
}

uint8_t axis_run(axis_t *axis, const settings_axis_t *set, uint32_t tick, int16_t output_permille)
{
    uint8_t status = refuse(axis, set, 1);
    if (status != STATUS_OK) {
        return status;
    }
    if (output_permille > 1000 || output_permille < -1000) {
        return STATUS_BAD_VALUE;
    }
    return hold_to_run(axis, set, tick, AXIS_STATE_RUN, output_permille, reserve_for(set, AXIS_STATE_RUN, 0));
}

uint8_t axis_seek(axis_t *axis, const settings_axis_t *set, uint32_t tick, int8_t direction)
{
    uint8_t status = refuse(axis, set, 0);
    if (status != STATUS_OK) {
        return status;
    }
    if (direction != 1 && direction != -1) {
        return STATUS_BAD_VALUE;
    }
    if (is_moving(axis)) {
        return STATUS_IN_MOTION;
    }
    return hold_to_run(axis, set, tick, AXIS_STATE_SEEK, direction, RESERVE_OPEN);
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
    int32_t speed = speed_um_s == 0 ? set->speed_max_um_s : speed_um_s;
    if (target_um < set->soft_stop_min_um || target_um > set->soft_stop_max_um) {
        return STATUS_OUTSIDE;
    }
    status = refuse_start(axis, AXIS_STATE_MOVE);
    if (status != STATUS_OK) {
        return status;
    }
    uint16_t reserve = reserve_for(set, AXIS_STATE_MOVE, speed);
    begin(axis, tick, AXIS_STATE_MOVE, set->move_hold_ms / TICK_MS);
    axis->reserve = axis->reserve > reserve && axis->output_permille != 0 ? axis->reserve : reserve;
    axis->demand = target_um;
    axis->demand_speed = speed;
    return STATUS_OK;
}

static void rest_now(axis_t *axis)
{
    axis->resting = 1;
    axis->rest_block = axis->position.block;
    position_new_block(&axis->position);
}

void axis_stop(axis_t *axis, const settings_axis_t *set, uint8_t category, uint8_t reason)
{
    if (axis->state != AXIS_STATE_STOPPING) {
        if (!is_moving(axis)) {
            return;
        }
        axis->state = AXIS_STATE_STOPPING;
        axis->stop_reason = reason;
        axis->track.ramp_down = 1;
    }
    uint8_t ramps = category == 1 && axis->output_permille != 0 && is_fitted(set);
    if (!ramps && !axis->resting) {
        rest_now(axis);
    }
}

void axis_renew(axis_t *axis, uint32_t echoed_tick)
{
    uint32_t until = echoed_tick + axis->hold_ticks;
    if (is_moving(axis) && (int32_t)(until - axis->hold_until) > 0) {
        axis->hold_until = until;
    }
}

uint32_t axis_clear(axis_t *axis)
{
    if (!axis_at_rest(axis) || axis->faults == 0) {
        return 0;
    }
    uint32_t stood = axis->faults;
    axis->faults = 0;
    axis->state = AXIS_STATE_IDLE;
    guard_begin(&axis->guard);
    return stood;
}

/* ---------------------------------------------------------------- ends */

static void tell(axis_out_t *out, uint8_t kind, uint8_t cause, int32_t value_a, int32_t value_b)
{
    if (out->events < AXIS_EVENTS_MAX) {
        axis_event_t *event = &out->event[out->events++];
        event->kind = kind;
        event->cause = cause;
        event->value_a = value_a;
        event->value_b = value_b;
    }
}

static void end(axis_t *axis, axis_out_t *out, uint8_t reason)
{
    axis->ended = reason;
    axis->resting = 0;
    axis->state = axis->faults != 0 ? AXIS_STATE_FAULT : AXIS_STATE_IDLE;
    tell(out, EVENT_KIND_MOTION_ENDED, reason, axis->motion, (int32_t)axis->on_ticks);
}

static void latch(axis_t *axis, axis_out_t *out, uint8_t fault)
{
    uint32_t bit = (uint32_t)1 << (fault - 1);
    if (axis->faults & bit) {
        return;
    }
    axis->faults |= bit;
    tell(out, EVENT_KIND_TRIP, fault, axis->motion, (int32_t)axis->on_ticks);
}

/* Stop category 0 for a fault; over-current may be a shorted motor, so the bridge goes off rather than to brake. */
static void trip(axis_t *axis, axis_out_t *out, uint8_t fault)
{
    latch(axis, out, fault);
    axis->off = axis->off || fault == FAULT_OVER_CURRENT;
    if (axis->ended == ENDED_RUNNING) {
        axis->cause = fault;
        axis->rest_raw = axis->raw;
        axis->rest_position_um = axis->position_um;
        end(axis, out, ENDED_FAULT);
    }
    axis->state = AXIS_STATE_FAULT;
    axis->resting = 0;
}

static void stop_with(axis_t *axis, const settings_axis_t *set, axis_out_t *out, uint8_t category, uint8_t event,
                      uint8_t reason)
{
    if (event != 0) {
        tell(out, event, 0, axis->motion, (int32_t)axis->on_ticks);
    }
    axis_stop(axis, set, category, reason);
}

static void end_silent_hold(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    if (!is_moving(axis) || (int32_t)(in->tick - axis->hold_until) <= 0) {
        return;
    }
    if (axis->command == AXIS_STATE_MOVE) {
        latch(axis, out, FAULT_MOVE_SILENCE);
        axis->cause = FAULT_MOVE_SILENCE;
    }
    stop_with(axis, set, out, 1, 0, ENDED_SILENCE);
}

static void spend_duty(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    if (is_moving(axis) && in->duty_room <= axis->reserve) {
        stop_with(axis, set, out, 1, EVENT_KIND_DUTY_SPENT, ENDED_DUTY);
    }
}

/* ---------------------------------------------------------------- guards */

static void no_motion(axis_t *axis, const settings_axis_t *set, axis_out_t *out, uint8_t fault)
{
    if (!set->calibrated && fault == FAULT_NO_CURRENT) {
        /* an end switch has opened, as it should; or, if nothing ever moved, the host has to find out */
        stop_with(axis, set, out, 0, 0, axis->guard.moved ? ENDED_END_FOUND : ENDED_UNFINISHED);
        return;
    }
    trip(axis, out, fault);
}

static void watch(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    guard_in_t view;
    view.output_permille = axis->output_permille;
    view.raw = axis->raw;
    view.current_ma = axis->current_ma;
    view.current_lsb_ma = (int16_t)smaller((int32_t)(axis->current_scale >> 9), 32767);
    view.um = axis->position_um;
    view.slow_um_s = set->creep_speed_um_s;
    if (axis->command == AXIS_STATE_JOG) {
        view.slow_um_s = smaller(view.slow_um_s, absolute(axis->demand));
    } else if (axis->command == AXIS_STATE_MOVE) {
        view.slow_um_s = smaller(view.slow_um_s, axis->demand_speed);
    }
    uint8_t fault = guard_pot_band(&axis->guard, set, axis->raw);
    if (fault != 0) {
        trip(axis, out, fault);
    }
    fault = guard_over_current(&axis->guard, set, &view);
    if (fault != 0) {
        trip(axis, out, fault);
    }
    if (axis->command == AXIS_STATE_SEEK) {
        return;
    }
    fault = guard_motion(&axis->guard, set, &axis->position, &view);
    if (fault == FAULT_WRONG_WAY) {
        trip(axis, out, fault);
    } else if (fault != 0) {
        no_motion(axis, set, out, fault);
    }
}

/* ---------------------------------------------------------------- rest */

static void begin_way(axis_t *axis, const settings_axis_t *set, const motion_in_t *view)
{
    int32_t target = axis->demand;
    int32_t speed = axis->demand_speed;
    if (axis->command == AXIS_STATE_JOG) {
        target = axis->demand < 0 ? set->soft_stop_min_um : set->soft_stop_max_um;
        speed = absolute(axis->demand);
    } else if (axis->inches > 0) {
        speed = smaller(speed, set->creep_speed_um_s);
    }
    motion_begin(&axis->track, set, view, target, speed);
    axis->from_um = axis->position_um;
    axis->resting = 0;
}

/* A move has come to rest: there, or one more inch, or as near as it gets. */
static void judge_move(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    int32_t error = absolute(axis->demand - axis->rest_position_um);
    int32_t tolerance = motion_tolerance(set);
    uint8_t held = axis->track.held > 0;
    uint8_t last = held || axis->inches >= INCHES;
    if (error <= (last ? tolerance : tolerance / 3)) {
        end(axis, out, ENDED_REACHED);
    } else if (!last) {
        axis->inches++;
        begin_way(axis, set, view);
    } else {
        if (held) {
            tell(out, EVENT_KIND_SOFT_STOP, 0, axis->motion, (int32_t)axis->on_ticks);
        }
        end(axis, out, held ? ENDED_SOFT_STOP : ENDED_UNFINISHED);
    }
}

static void wait_for_rest(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (!axis->position.block_ready) {
        return;
    }
    uint32_t before = axis->rest_block;
    uint32_t now = axis->position.block;
    axis->rest_block = now;
    axis->resting++;
    int32_t moved = absolute((int32_t)(now - before));
    uint8_t still = axis->resting > 2 && moved < position_block_threshold(set);
    if (!still && axis->resting <= REST_BLOCKS) {
        return;
    }
    axis->rest_raw = (uint16_t)((now + POSITION_BLOCK / 2) / POSITION_BLOCK);
    axis->rest_position_um = position_block_um(&axis->position, set);
    if (axis->state == AXIS_STATE_MOVE) {
        judge_move(axis, set, view, out);
    } else {
        end(axis, out, axis->stop_reason);
    }
}

/* ---------------------------------------------------------------- output */

/* Towards `wanted` by at most `up` or `down` permille, through 0 if the sign changes. */
static int16_t slew(int16_t output, int32_t wanted, int32_t up, int32_t down)
{
    int32_t size = absolute(output);
    if ((output > 0 && wanted < 0) || (output < 0 && wanted > 0)) {
        wanted = 0;
    }
    int32_t goal = absolute(wanted);
    int32_t next = goal > size ? smaller(goal, size + up) : size - smaller(size - goal, down);
    return (int16_t)((output < 0 || (output == 0 && wanted < 0)) ? -next : next);
}

static int16_t open_jog(axis_t *axis, const settings_axis_t *set)
{
    int32_t most = set->creep_output_permille;
    int32_t wanted = axis->demand > most ? most : axis->demand < -most ? -most : axis->demand;
    return slew(axis->output_permille, axis->state == AXIS_STATE_STOPPING ? 0 : wanted, RAMP_OPEN, RAMP_OPEN);
}

static int16_t open_seek(axis_t *axis, const settings_axis_t *set, axis_out_t *out)
{
    if (axis->changed) {
        axis->changed = 0;
        position_new_block(&axis->position);
        seek_begin(&axis->seek, set, &axis->position);
    }
    if (axis->state == AXIS_STATE_STOPPING) {
        return slew(axis->output_permille, 0, RAMP_OPEN, RAMP_OPEN);
    }
    uint8_t said;
    int32_t wanted = seek_tick(&axis->seek, set, &axis->position, axis->current_ma, &said);
    axis->state = said == SEEK_PROBING ? AXIS_STATE_PROBE : AXIS_STATE_SEEK;
    axis->current_before_ma = axis->seek.current_before;
    axis->current_stop_ma = axis->seek.current_stop;
    axis->current_probe_ma = axis->seek.current_probe;
    if (said == SEEK_FOUND) {
        tell(out, EVENT_KIND_END_FOUND, 0, axis->current_before_ma, axis->current_probe_ma);
        axis_stop(axis, set, 0, ENDED_END_FOUND);
        return 0;
    }
    return slew(axis->output_permille, axis->demand < 0 ? -wanted : wanted, RAMP_OPEN, RAMP_OPEN);
}

static int32_t run_down_step(const motion_t *track, const settings_axis_t *set)
{
    return div_toward_zero(smaller(set->deceleration_um_s2, INT32_C(400000)) * 5, track->full) + 1;
}

static int16_t run(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    int8_t direction = axis->demand < 0 ? -1 : 1;
    if (axis->output_permille == 0 && axis->changed) {
        motion_begin_run(&axis->track, set, view, direction);
        axis->changed = 0;
        axis->from_um = axis->position_um;
    }
    if (motion_forbids(&axis->track, view)) {
        set_flag(axis, AXIS_FLAGS_HELD_BACK, 1);
        stop_with(axis, set, out, 0, axis->state == AXIS_STATE_RUN ? EVENT_KIND_SOFT_STOP : 0, ENDED_SOFT_STOP);
        return 0;
    }
    int32_t most = view->creep ? set->creep_output_permille : set->output_max_permille;
    int32_t wanted = axis->state == AXIS_STATE_STOPPING ? 0 : smaller(absolute(axis->demand), most) * direction;
    return slew(axis->output_permille, wanted, RUN_UP, run_down_step(&axis->track, set));
}

/* What was asked for anew while under way: at once where the ramps allow, else by way of a stop. */
static void take_change(axis_t *axis, const settings_axis_t *set, const motion_in_t *view)
{
    axis->changed = 0;
    if (axis->output_permille == 0 || axis->resting) {
        begin_way(axis, set, view);
        return;
    }
    if (axis->command == AXIS_STATE_MOVE) {
        motion_change(&axis->track, view, axis->demand, axis->demand_speed);
        return;
    }
    int8_t direction = axis->demand < 0 ? -1 : 1;
    int32_t target = direction < 0 ? set->soft_stop_min_um : set->soft_stop_max_um;
    motion_change(&axis->track, view, target, absolute(axis->demand));
}

static void arrive(axis_t *axis, const settings_axis_t *set, axis_out_t *out, uint8_t said)
{
    if (said == MOTION_ARRIVED) {
        axis->track.held = 0;
    }
    if (axis->state == AXIS_STATE_MOVE) {
        rest_now(axis);
    } else {
        stop_with(axis, set, out, 0, EVENT_KIND_SOFT_STOP, ENDED_SOFT_STOP);
    }
}

static int16_t follow(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (axis->changed && axis->state != AXIS_STATE_STOPPING) {
        take_change(axis, set, view);
    }
    uint8_t said;
    int16_t output = motion_tick(&axis->track, set, view, &said);
    set_flag(axis, AXIS_FLAGS_HELD_BACK, axis->track.held > 0);
    if (said == MOTION_RAMPED_DOWN) {
        if (axis->state == AXIS_STATE_STOPPING) {
            rest_now(axis);
        } else {
            begin_way(axis, set, view);
        }
    } else if (said != MOTION_GOING) {
        arrive(axis, set, out, said);
    }
    axis->reference_um = div_toward_zero(axis->track.reference, 200);
    return axis->track.direction < 0 ? (int16_t)-output : output;
}

static int16_t drive(axis_t *axis, const settings_axis_t *set, const motion_in_t *view, axis_out_t *out)
{
    if (axis->command == AXIS_STATE_SEEK) {
        return open_seek(axis, set, out);
    }
    if (!set->calibrated) {
        return open_jog(axis, set);
    }
    if (axis->command == AXIS_STATE_RUN) {
        return run(axis, set, view, out);
    }
    return follow(axis, set, view, out);
}

/* The bridge for an output; one tick at 0 lies between opposite drives. */
static void put_out(axis_t *axis, const settings_axis_t *set, int16_t output, axis_out_t *out)
{
    int8_t sign = output > 0 ? 1 : output < 0 ? -1 : 0;
    if (sign != 0 && sign == -axis->last_sign) {
        sign = 0;
        output = 0;
    }
    axis->last_sign = sign;
    axis->output_permille = output;
    if (sign != 0) {
        axis->on_ticks++;
        axis->used = 1;
        out->bridge = BRIDGE_DRIVE;
        out->drive = set->motor_reversed ? (int16_t)-output : output;
    } else if (axis->used && !axis->off && set->stop_by == STOP_BY_BRAKE) {
        out->bridge = BRIDGE_BRAKE;
    }
    set_flag(axis, AXIS_FLAGS_BRAKING, out->bridge == BRIDGE_BRAKE);
}

static uint8_t is_under_way(const axis_t *axis)
{
    return axis->state >= AXIS_STATE_JOG && axis->state <= AXIS_STATE_STOPPING;
}

static int16_t act(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    axis->reference_um = axis->position_um;
    if (!is_under_way(axis)) {
        return 0;
    }
    motion_in_t view = motion_view(axis, in);
    if (axis->resting && axis->changed && is_moving(axis)) {
        axis->resting = 0;
    } else if (axis->resting) {
        wait_for_rest(axis, set, &view, out);
    }
    if (!is_under_way(axis) || axis->resting) {
        return 0;
    }
    int16_t output = drive(axis, set, &view, out);
    if (axis->state == AXIS_STATE_STOPPING && output == 0 && !axis->resting && is_open_loop(axis, set)) {
        rest_now(axis);
    }
    return axis->resting ? 0 : output;
}

void axis_tick(axis_t *axis, const settings_axis_t *set, const axis_in_t *in, axis_out_t *out)
{
    out->drive = 0;
    out->bridge = BRIDGE_OFF;
    out->events = 0;
    out->output_before = axis->output_permille;
    if (!is_fitted(set)) {
        axis->raw = in->raw;
        axis->state = AXIS_STATE_NOT_FITTED;
        axis->output_permille = 0;
        axis->last_sign = 0;
        return;
    }
    if (axis->state == AXIS_STATE_NOT_FITTED) {
        axis->state = axis->faults != 0 ? AXIS_STATE_FAULT : AXIS_STATE_IDLE;
    }
    take_readings(axis, set, in);
    see_proof(axis, set);
    if (axis->left_reason != 0) {
        tell(out, EVENT_KIND_MOTION_ENDED, axis->left_reason, axis->left_motion, (int32_t)axis->left_on_ticks);
        axis->left_reason = 0;
    }
    watch(axis, set, out);
    end_silent_hold(axis, set, in, out);
    spend_duty(axis, set, in, out);
    put_out(axis, set, act(axis, set, in, out), out);
}
