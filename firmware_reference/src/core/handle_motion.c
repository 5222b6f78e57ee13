#include "handle_motion.h"

#include "bytes.h"
#include "div.h"
#include "event.h"
#include "local.h"
#include "number.h"
#include "port.h"

#define TICKS_PER_S 200
#define START_RESERVE 20                /* ticks that must be left beyond the ramp down, for anything to start */
#define ALL_AXES 0
#define OUTCOME_PART_SIZE (OUTCOME_REPLY_ON_TICKS_AT - OUTCOME_REPLY_MOTION_AT)

_Static_assert(offsetof(axis_t, current_probe_ma) + 2 - offsetof(axis_t, motion) == OUTCOME_PART_SIZE,
               "axis_t has the outcome as the reply has it");
#define NEVER UINT16_MAX

/* Place of the axis that a field names; CORE_BOARD_AXES or more: there is none. */
static uint8_t index_of(uint8_t axis)
{
    return (uint8_t)(axis - 1);
}

static uint8_t is_asked(uint8_t axis, uint8_t index)
{
    return axis == ALL_AXES || index_of(axis) == index;
}

static uint8_t lowest_fault(uint32_t faults)
{
    uint8_t number = 1;
    while (!(faults & 1u)) {
        faults >>= 1;
        number++;
    }
    return number;
}

/* A field that is missing counts as 0; an axis that there is not means all: a stop is never refused. A gang stops as one. */
uint8_t handle_stop(core_t *core, call_t *call)
{
    uint8_t axis = call->size > STOP_AXIS_AT ? call->body[STOP_AXIS_AT] : ALL_AXES;
    uint8_t category = call->size > STOP_CATEGORY_AT && call->body[STOP_CATEGORY_AT] == 1;
    for (uint8_t index = 0; index < AXES; index++) {
        if (axis > CORE_BOARD_AXES || is_asked(axis, index) || gang_is_on(core)) {
            core_stop(core, index, category, ENDED_STOPPED);
            axis_disarm(&core->axis[index]);
        }
    }
    return STATUS_OK;
}

static uint32_t tell_cleared(core_t *core, uint8_t axis, uint32_t stood)
{
    if (stood != 0) {
        axis_event_t event = {{EVENT_KIND_CLEARED, 0}, (int32_t)stood, 0};
        event_send(core, axis, &event, 0);
    }
    return stood;
}

static CORE_ONCE uint8_t clear(core_t *core, call_t *call)
{
    uint8_t axis = call->body[CLEAR_AXIS_AT];
    uint32_t stood = 0;
    if (axis > CORE_BOARD_AXES) {
        return handle_bad_value(call, 1);
    }
    for (uint8_t index = 0; index < AXES; index++) {
        if (is_asked(axis, index) && !axis_at_rest(&core->axis[index])) {
            return STATUS_IN_MOTION;
        }
    }
    if (axis == ALL_AXES) {
        stood = tell_cleared(core, ALL_AXES, core->faults);
        core->faults = 0;
    }
    for (uint8_t index = 0; index < AXES; index++) {
        if (is_asked(axis, index)) {
            stood |= tell_cleared(core, (uint8_t)(index + 1), axis_clear(&core->axis[index]));
        }
    }
    call->end = put_u32(call->end, stood);
    return STATUS_OK;
}

static uint8_t outcome(core_t *core, call_t *call)
{
    uint8_t index = index_of(call->body[OUTCOME_AXIS_AT]);
    if (index >= CORE_BOARD_AXES) {
        return handle_bad_value(call, 1);
    }
    const axis_t *axis = &core->axis[index];
    uint8_t *at = put_u8(call->end, (uint8_t)(index + 1));
    at = put_bytes(at, &axis->motion, OUTCOME_PART_SIZE);
    call->end = put_u32(at, axis->on_ticks);
    return STATUS_OK;
}

static uint32_t ramp_ticks(const settings_axis_t *set, int32_t um_s2)
{
    return (uint32_t)div_toward_zero(set->speed_max_um_s * TICKS_PER_S, um_s2);
}

/* A fifth above the on-time of the way to a target within the stroke, its ramps aside. */
static uint32_t way_ticks(const axis_t *axis, const settings_axis_t *set, const order_t *order)
{
    int32_t way = order->value;
    int32_t speed = order->speed_um_s;
    if ((uint32_t)way > (uint32_t)set->stroke_um) {
        return 0;                               /* refused for that, elsewhere */
    }
    way -= axis->position_um;
    way = absolute(way);
    if (speed <= 0 || speed > set->speed_max_um_s) {
        speed = set->speed_max_um_s;
    }
    return (uint32_t)div_toward_zero(way * (TICKS_PER_S * 6 / 5), speed);
}

/* Nothing starts without the reserve for its end; a move not without its ramps and its way. Else in how many seconds. */
static CORE_ONCE uint8_t duty_allows(core_t *core, uint8_t index, const order_t *order)
{
    const settings_axis_t *set = &core->live.axis[index];
    uint32_t need = START_RESERVE + ramp_ticks(set, set->deceleration_um_s2);
    if (order->id == MSG_MOVE) {
        need += ramp_ticks(set, set->acceleration_um_s2) + way_ticks(&core->axis[index], set, order);
    }
    const duty_t *duty = &core->noinit->duty[index];
    uint32_t budget = duty_budget(set);
    core->duty_wait_s = need > budget ? NEVER : (uint16_t)div_up(duty_wait(duty, budget - need), TICKS_PER_S);
    return core->duty_wait_s == 0;
}

/* A jog or run that goes on with another value, or ends, starts nothing. */
static uint8_t starts_motion(const axis_t *axis, uint8_t id)
{
    return id == MSG_MOVE || axis_at_rest(axis);
}

static uint8_t command(core_t *core, uint8_t index, const order_t *order)
{
    axis_t *axis = &core->axis[index];
    const settings_axis_t *set = &core->live.axis[index];
    int32_t speed = order->speed_um_s;
    switch (order->id) {
    case MSG_RUN:
        return axis_run(axis, set, core->tick, (int16_t)order->value);
    case MSG_SEEK:
        return axis_seek(axis, set, core->tick, (int8_t)order->value);
    case MSG_MOVE:
        return axis_move(axis, set, core->tick, order->value, speed);
    case MSG_LEVEL:
        if (speed > set->creep_speed_um_s || speed < -set->creep_speed_um_s) {
            return STATUS_BAD_VALUE;
        }
        return axis_jog(axis, set, core->tick, JOG_UNIT_SPEED, speed);
    default:
        return axis_jog(axis, set, core->tick, order->unit, speed);
    }
}

uint8_t start_axis(core_t *core, uint8_t index, const order_t *order, uint8_t trial)
{
    axis_t *axis = &core->axis[index];
    if (trial && axis->faults == 0 && starts_motion(axis, order->id) && !duty_allows(core, index, order)) {
        return STATUS_DUTY_SPENT;
    }
    axis->trial = trial;
    return command(core, index, order);
}

/* Which field a refused value is: the last one, but for a jog's unit. */
static uint8_t place_of_value(const call_t *call, uint8_t id)
{
    switch (id) {
    case MSG_JOG:
        return call->body[JOG_UNIT_AT] > JOG_UNIT_LAST ? 2 : 3;
    case MSG_MOVE:
        return 3;
    default:
        return 2;
    }
}

/* Reads behind the body where a message is shorter, and then makes no use of that. */
static void take_order(const call_t *call, uint8_t id, order_t *order)
{
    order->id = id;
    order->unit = call->body[JOG_UNIT_AT];
    order->value = (int32_t)get_u32(call->body + MOVE_TARGET_UM_AT);
    uint8_t at = id == MSG_MOVE ? MOVE_SPEED_UM_S_AT : id == MSG_JOG ? JOG_VALUE_AT : LEVEL_SPEED_UM_S_AT;
    order->speed_um_s = (int32_t)get_u32(call->body + at);
}

/* The lowest of the first that has any: the board, the axis, the other axis. */
static uint8_t fault_in_the_way(const core_t *core, uint8_t index)
{
    uint32_t faults = core->faults != 0 ? core->faults : core->axis[index].faults;
    return lowest_fault(faults != 0 ? faults : core->axis[index ^ 1].faults);
}

static uint8_t start(core_t *core, call_t *call, uint8_t id)
{
    order_t order;
    uint8_t index = index_of(call->body[0]);
    if (index >= CORE_BOARD_AXES) {
        return handle_bad_value(call, 1);
    }
    if (local_commands(core, index)) {
        return STATUS_LOCAL_CONTROL;
    }
    if (call->barred) {
        return STATUS_STOP_STANDING;
    }
    take_order(call, id, &order);
    uint8_t status = core->faults != 0 ? STATUS_FAULTED : gang_start(core, index, &order);
    if (status == STATUS_BAD_VALUE) {
        call->detail = place_of_value(call, id);
    } else if (status == STATUS_DUTY_SPENT) {
        call->detail = core->duty_wait_s;
    } else if (status == STATUS_FAULTED) {
        call->detail = fault_in_the_way(core, index);
    }
    call->end = put_u16(call->end, core->axis[index].motion);
    return status;
}

uint8_t handle_motion(core_t *core, call_t *call, uint8_t id)
{
    switch (id) {
    case MSG_CLEAR:
        return clear(core, call);
    case MSG_OUTCOME:
        return outcome(core, call);
    default:
        return start(core, call, id);
    }
}
