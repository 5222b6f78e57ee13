#include "gang.h"

#include "div.h"
#include "handle_motion.h"
#include "number.h"

#define PLACE_BITS 22                   /* of a place in um, and no more */
#define APART_TICKS 10                  /* 50 ms */
#define WAIT_MOST 255                   /* of 256: the reference all but stands */

uint8_t gang_is_on(const core_t *core)
{
    return core->live.board.apart_trip_um != 0;
}

/* What is um of one stroke on another, rounded down, 0 below 0; bit by bit, as the product takes more than 32. */
static int32_t at_share(int32_t um, const settings_axis_t *from, const settings_axis_t *to)
{
    int32_t stroke = from->stroke_um;
    int32_t result = 0;
    int32_t rest = 0;
    uint32_t bits = (uint32_t)larger(um, 0) << (32 - PLACE_BITS);
    for (uint8_t left = PLACE_BITS; left > 0; left--) {
        result += result;
        rest += rest;
        if (bits & UINT32_C(1) << 31) {
            rest += to->stroke_um;
        }
        for (; rest >= stroke; result++) {
            rest -= stroke;
        }
        bits += bits;
    }
    return result;
}

/* How far axis 1 is before axis 2, by share of stroke, in um of the longer rod. */
static int32_t apart_um(const core_t *core)
{
    const settings_axis_t *set = core->live.axis;
    int32_t one = core->axis[0].position_um;
    int32_t two = core->axis[1].position_um;
    if (set[0].stroke_um < set[1].stroke_um) {
        one = at_share(one, &set[0], &set[1]);
    } else {
        two = at_share(two, &set[1], &set[0]);
    }
    return one - two;
}

/* ---------------------------------------------------------------- commands */

static uint8_t can_be_ganged(const settings_axis_t *set)
{
    return set->feedback == FEEDBACK_POT && set->calibrated;
}

static uint8_t is_for_gangs(const order_t *order)
{
    return order->id == MSG_MOVE || order->id == MSG_LEVEL ||
           (order->id == MSG_JOG && order->unit != JOG_UNIT_OUTPUT);
}

/* Slows `mine`, which is good for its axis, to what both can do; the other axis's order beside it. */
static void share_out(const settings_axis_t *set, const settings_axis_t *other, order_t *mine, order_t *its)
{
    int32_t speed = mine->speed_um_s;
    int8_t direction = speed < 0 ? -1 : 1;
    if (speed == 0 && mine->id == MSG_MOVE) {
        speed = set->speed_max_um_s;
    }
    speed = along(speed, direction);
    int32_t its_speed = at_share(speed, set, other);
    if (its_speed > other->speed_max_um_s) {
        its_speed = other->speed_max_um_s;
        speed = at_share(its_speed, other, set);
    }
    mine->speed_um_s = along(speed, direction);
    its->id = mine->id;
    its->unit = mine->unit;
    its->value = at_share(mine->value, set, other);
    its->speed_um_s = along(its_speed, direction);
}

uint8_t gang_start(core_t *core, uint8_t index, order_t *order)
{
    const settings_axis_t *set = &core->live.axis[index];
    const settings_axis_t *other = &core->live.axis[index ^ 1];
    order_t its;
    uint8_t status;
    uint8_t alone = order->id == MSG_LEVEL ? (uint8_t)(index + 1) : 0;
    uint8_t both = gang_is_on(core);
    if (!both && alone) {
        return STATUS_NOT_SUPPORTED;
    }
    if (both) {
        if (!CORE_GANG || !can_be_ganged(set) || !can_be_ganged(other) || !is_for_gangs(order)) {
            return STATUS_GANGED;
        }
        if (core->gang.alone != alone && !core_at_rest(core)) {
            return STATUS_IN_MOTION;
        }
        core->gang.alone = alone;
        both = !alone;
    }
    for (uint8_t trial = 2; trial-- > 0;) {
        status = start_axis(core, index, order, trial);
        if (status == STATUS_OK && both) {
            if (trial) {
                share_out(set, other, order, &its);
            }
            status = start_axis(core, index ^ 1, &its, trial);
        }
        if (status != STATUS_OK) {
            break;
        }
    }
    return status;
}

/* ---------------------------------------------------------------- tick */

/* One axis, that is `lead` before the other: the other's end is its own, and a lead makes its reference wait. */
static void follow(core_t *core, uint8_t index, int32_t lead)
{
    axis_t *axis = &core->axis[index];
    const axis_t *other = &core->axis[index ^ 1];
    int32_t step = (core->live.board.apart_trip_um >> 9) + 1;       /* at half of the trip it stands */
    if (!axis_is_moving(axis)) {
        return;
    }
    if (!axis_is_moving(other) && other->ended != ENDED_REACHED) {
        core_stop(core, index, other->state != AXIS_STATE_FAULT, ENDED_GANG);
    }
    axis->wait = (uint8_t)between(div_toward_zero(along(lead, axis->track.direction), step), 0, WAIT_MOST);
}

/* From rest the first tick decides: rods that are apart do not begin. A rod that is levelled may be as far again. */
void gang_tick(core_t *core)
{
    gang_t *gang = &core->gang;
    int32_t trip = core->live.board.apart_trip_um;
    if (!CORE_GANG || trip == 0 || core_at_rest(core)) {
        gang->apart_ticks = APART_TICKS - 1;
        return;
    }
    core->axis[0].guard.start_ticks = core->axis[1].guard.start_ticks = 0;      /* one may move the other: no rest */
    int32_t apart = apart_um(core);
    if (absolute(apart) <= (gang->alone ? trip + trip : trip)) {
        gang->apart_ticks = 0;
    } else if (++gang->apart_ticks == APART_TICKS) {
        core_trip(core, FAULT_APART);
    }
    if (!gang->alone) {
        follow(core, 0, apart);
        follow(core, 1, -apart);
    }
}
