#include "local.h"

#include "div.h"
#include "event.h"
#include "gang.h"
#include "number.h"
#include "port.h"

#define TICK_MS 5
#define REST_TICKS 20               /* at rest for so long: armed */
#define OPEN_TICKS 4                /* a button open for so long was let go; shorter is a bounce */
#define SILENT_TICKS 2000           /* a host that took an axis and is silent for so long has left it */
#define WHOLE 1024                  /* of what an input may ask for */
#define STEP 10                     /* a smaller change of it is noise */
#define LOST INT16_MIN
#define BOTH 3                      /* buttons */

/* The settings of a local input, near to one pointer. */
typedef struct __attribute__((packed)) {
    uint8_t source, as;
    uint16_t low_end, rest, rest_band, high_end, place_retract, place_extend, loss_ms;
} input_t;

_Static_assert(offsetof(settings_axis_t, local_loss_ms) - offsetof(settings_axis_t, local_source) ==
               offsetof(input_t, loss_ms), "input_t is laid out as in the settings");

static const input_t *input_of(const settings_axis_t *set)
{
    return (const input_t *)(const void *)&set->local_source;
}

uint8_t local_commands(const core_t *core, uint8_t index)
{
    if (gang_is_on(core)) {
        index = 0;
    }
    return CORE_LOCAL_INPUTS && (core->axis[index].also & AXIS_ALSO_LOCAL);
}

static CORE_ONCE void stop(core_t *core, uint8_t index)
{
    core_stop(core, index, 1, ENDED_STOPPED);
}

static CORE_INSIDE void drop(core_t *core, uint8_t index)
{
    axis_disarm(&core->axis[index]);
    stop(core, index);
}

static CORE_ONCE void tell(core_t *core, uint8_t index, uint8_t kind, uint8_t cause)
{
    axis_event_t event = {{kind, cause}, 0, 0};
    event_send(core, (uint8_t)(index + 1), &event, core->axis[index].output_permille);
}

/* A motion of the one that commanded before ends. */
static CORE_ONCE void hand_to(core_t *core, uint8_t index, uint8_t commander)
{
    axis_t *axis = &core->axis[index];
    if (CORE_LOCAL_INPUTS && core->live.axis[index].local_source != LOCAL_SOURCE_NONE && ((axis->also ^ commander) & AXIS_ALSO_LOCAL)) {
        axis->also = (uint8_t)((axis->also ^ AXIS_ALSO_LOCAL) & ~AXIS_ALSO_SOURCE_LOST);
        drop(core, index);
        if (gang_is_on(core)) {
            stop(core, index ^ 1);                      /* it may be levelled, alone */
        }
        tell(core, index, EVENT_KIND_HANDED_OVER, commander);
    }
}

uint8_t local_hand_over(core_t *core, call_t *call)
{
    uint8_t axis = call->body[HAND_OVER_AXIS_AT];
    uint8_t commander = call->body[HAND_OVER_COMMANDER_AT];
    if (axis > CORE_BOARD_AXES) {
        return handle_bad_value(call, 1);
    }
    if (commander > COMMANDER_LAST) {
        return handle_bad_value(call, 2);
    }
    if (axis != 2) {
        hand_to(core, 0, commander);
    }
    if (axis != 1) {
        hand_to(core, 1, commander);
    }
    return STATUS_OK;
}

/* Counted from the low end towards the high end. */
static CORE_ONCE int16_t from_low(const input_t *input, uint16_t value)
{
    int16_t at = (int16_t)(value - input->low_end);
    return input->high_end < input->low_end ? (int16_t)-at : at;
}

/* What the input asks for: a share of full speed, signed; or of the way, 1 at its beginning, and 0 before it has left its
 * rest. LOST: it lies beyond its ends by more than a tenth of the span, or there is no pulse. */
static CORE_INSIDE int16_t wanted(const local_t *local, const input_t *input, uint8_t buttons)
{
    int16_t share = WHOLE;
    if (input->source == LOCAL_SOURCE_BUTTONS) {
        if (buttons == 0) {
            return 0;
        }
        if (buttons != 1) {
            share = input->as ? 0 : -WHOLE;
        }
    } else {
        int16_t span = from_low(input, input->high_end);
        int16_t margin = span / 10;
        int16_t at = from_low(input, local->value);
        if ((uint16_t)(at + margin) > (uint16_t)(span + 2 * margin) ||
            (local->value == 0 && input->source == LOCAL_SOURCE_PULSE)) {
            return LOST;
        }
        at = at < 0 ? 0 : at > span ? span : at;
        int16_t rest = from_low(input, input->rest);
        int16_t off = (int16_t)(at - rest);
        uint16_t band = input->rest_band;
        if (local->asked == 0 || !input->as) {
            if ((uint16_t)(off + (int16_t)band) <= 2 * band) {
                return 0;
            }
        }
        if (!input->as) {
            at = off;
            span = off < 0 ? rest : (int16_t)(span - rest);
        }
        share = (int16_t)div_toward_zero((int32_t)at * WHOLE, span);
    }
    return (int16_t)(share + input->as);
}

static CORE_INSIDE int32_t target_um(const settings_axis_t *set, const input_t *input, uint16_t share)
{
    int32_t way = (int32_t)input->place_extend - input->place_retract;
    uint16_t place = (uint16_t)halved(halved(way * share, 10) + input->place_retract, 1);
    int32_t um = halved((int32_t)((uint32_t)place * (uint16_t)halved(set->stroke_um, 5)), 10);
    return between(um, set->soft_stop_min_um, set->soft_stop_max_um);
}

static CORE_INSIDE uint8_t request(core_t *core, uint8_t index, const settings_axis_t *set, const input_t *input, int16_t want)
{
    order_t order;
    order.id = MSG_JOG;
    order.unit = set->calibrated;
    order.value = 0;
    order.speed_um_s = want < 0 ? -1000 : 1000;         /* an output, which the axis holds to creep */
    if (set->calibrated) {
        order.speed_um_s = halved(want * set->speed_max_um_s, 10);
    }
    if (input->as) {
        order.id = MSG_MOVE;
        order.value = target_um(set, input, (uint16_t)(want - 1));
        order.speed_um_s = 0;
    }
    return gang_start(core, index, &order);
}

static CORE_INSIDE void act(core_t *core, uint8_t index, axis_t *axis, local_t *local, const settings_axis_t *set, const input_t *input, int16_t want)
{
    uint8_t goes = axis_is_moving(axis);
    int16_t asked = local->asked;
    if (want == 0) {
        if (!input->as) {
            stop(core, index);
        } else if (local->quiet < OPEN_TICKS) {
            return;
        }
        local->asked = 0;
        return;
    }
    if (asked != 0) {
        int16_t change = (int16_t)(want - asked);
        if ((change <= STEP && change >= -STEP) || (!input->as && !goes && (want ^ asked) >= 0)) {
            return;                                     /* ended by itself: no more that way, before a rest */
        }
    }
    local->asked = want;
    if (input->as && goes && input->source == LOCAL_SOURCE_BUTTONS) {
        stop(core, index);
        return;
    }
    uint8_t status = request(core, index, set, input, want);
    if (status == STATUS_STOP_STANDING) {
        local->asked = asked;
    } else if (status != STATUS_OK) {
        drop(core, index);
    }
}

/* 1: it cannot be believed. For so long that it is lost: stop, and arm anew. */
static CORE_INSIDE uint8_t is_lost(core_t *core, uint8_t index, axis_t *axis, local_t *local, const input_t *input, int16_t want)
{
    if (want != LOST) {
        local->lost = 0;
        axis->also &= (uint8_t)~AXIS_ALSO_SOURCE_LOST;
        return 0;
    }
    local->quiet = 0;
    if (!(axis->also & AXIS_ALSO_SOURCE_LOST) && ++local->lost * TICK_MS >= (int16_t)input->loss_ms) {
        axis->also |= AXIS_ALSO_SOURCE_LOST;
        drop(core, index);
        tell(core, index, EVENT_KIND_SOURCE_LOST, 0);
    }
    return 1;
}

/* 1: armed, and was so before this tick. */
static CORE_INSIDE uint8_t is_armed(core_t *core, uint8_t index, axis_t *axis, local_t *local, int16_t want)
{
    if (want != 0) {
        local->quiet = 0;
    } else if (local->quiet < REST_TICKS) {
        local->quiet++;
    }
    if (axis->also & AXIS_ALSO_ARMED) {
        return 1;
    }
    if (local->quiet == REST_TICKS) {
        axis->also |= AXIS_ALSO_ARMED;
        tell(core, index, EVENT_KIND_ARMED, 0);
    }
    return 0;
}

static CORE_ONCE void tick_axis(core_t *core, uint8_t index, uint8_t buttons)
{
    axis_t *axis = &core->axis[index];
    local_t *local = axis->local;
    const settings_axis_t *set = &core->live.axis[index];
    const input_t *input = input_of(set);
    if (input->source == LOCAL_SOURCE_NONE || (index != 0 && gang_is_on(core))) {
        axis->also &= (uint8_t)~(AXIS_ALSO_LOCAL | AXIS_ALSO_ARMED | AXIS_ALSO_SOURCE_LOST);
        return;
    }
    if (!(axis->also & AXIS_ALSO_LOCAL)) {
        if ((uint16_t)((uint16_t)core->tick - core->heard) > SILENT_TICKS && core_at_rest(core)) {
            hand_to(core, index, COMMANDER_LOCAL);
        }
        return;
    }
    axis_renew(axis, core->tick);
    if (gang_is_on(core)) {
        axis_renew(&core->axis[1], core->tick);
    }
    int16_t want = wanted(local, input, buttons);
    if (is_lost(core, index, axis, local, input, want)) {
        return;
    }
    if ((core->faults | axis->faults) != 0 || buttons == BOTH) {
        drop(core, index);
    }
    if (is_armed(core, index, axis, local, want)) {
        act(core, index, axis, local, set, input, want);
    }
}

void local_tick(core_t *core, const readings_t *in)
{
    uint8_t inputs = in->inputs >> 1;
    for (uint8_t index = 0; CORE_LOCAL_INPUTS && index < AXES; index++) {
        core->axis[index].local->value = in->local[index];
        tick_axis(core, index, inputs & BOTH);
        inputs >>= 2;
    }
}
