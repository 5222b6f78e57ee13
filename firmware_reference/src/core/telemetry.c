#include "telemetry.h"

#include "bytes.h"
#include "gang.h"
#include "port.h"

#define WAITS 4                     /* with two more for the axes' frames well below the shortest period */
#define MS_PER_TICK 5
#define AXIS_PART_SIZE (TELEMETRY_AXIS_DUTY_USED_PERMILLE_AT - TELEMETRY_AXIS_STATE_AT)

_Static_assert(offsetof(axis_t, faults) + 4 == AXIS_PART_SIZE, "axis_t begins as its telemetry goes on");

uint8_t *telemetry_header(core_t *core, uint8_t *frame, uint8_t id)
{
    frame = put_u8(frame, id);
    frame = put_u8(frame, core->session.number);
    frame = put_u8(frame, core->tx.counter++);
    return put_u32(frame, core->tick);
}

void telemetry_send(core_t *core, const uint8_t *frame, uint8_t size)
{
    if (!tx_unasked(&core->tx, frame, size)) {
        core->counters.unasked_dropped++;
    }
}

static void send_axis(core_t *core, uint8_t index)
{
    uint8_t frame[HEADER_SIZE + TELEMETRY_AXIS_BODY_SIZE];
    const axis_t *axis = &core->axis[index];
    uint8_t *at = telemetry_header(core, frame, MSG_TELEMETRY_AXIS);
    at = put_u8(at, (uint8_t)(index + 1));
    at = put_bytes(at, axis, AXIS_PART_SIZE);
    at = put_u16(at, duty_used_permille(&core->noinit->duty[index], &core->live.axis[index]));
    at = put_u16(at, axis->motion);
    put_u8(at, (uint8_t)((axis->also & 0x7F) | (gang_is_on(core) ? AXIS_ALSO_GANGED : 0)));
    telemetry_send(core, frame, sizeof frame);
}

static void send_board(core_t *core)
{
    uint8_t frame[HEADER_SIZE + TELEMETRY_BOARD_BODY_SIZE];
    const duty_t *duty = core->noinit->duty;
    uint8_t *at = telemetry_header(core, frame, MSG_TELEMETRY_BOARD);
    at = put_u16(at, core->supply_mv);
    at = put_u16(at, core->board_5v_mv);
    at = put_u8(at, core->inputs);
    at = put_u32(at, core->faults);
    for (uint8_t index = 0; index < AXES; index++, duty++, at += 4) {
        put_u32(at, duty_total(duty));
        put_u32(at + 8, duty_room(duty, &core->live.axis[index]) * MS_PER_TICK);
        put_u32(at + 20, duty_wait(duty, 0) * MS_PER_TICK);
        put_u16(at + 28 - 2 * index, thermal_permille(&duty->heat));
    }
    at = put_u16(at + 8, core->counters.frames_bad);
    put_u16(at, core->counters.late_ticks);
    at += 2 + 8 + 4;
    at = put_u16(at, CORE_LOCAL_INPUTS ? core->axis[0].local->value : 0);
    put_u16(at, CORE_LOCAL_INPUTS ? core->axis[1].local->value : 0);
    telemetry_send(core, frame, sizeof frame);
}

void telemetry_subscribe(core_t *core, uint16_t axis_period, uint16_t board_period)
{
    telemetry_t *telemetry = &core->telemetry;
    memset(telemetry, 0, sizeof *telemetry);
    telemetry->axis_period = axis_period;
    telemetry->board_period = board_period;
}

/* Axis 1 at the start of a period, axis 2, if the board has one, half a period later. Returns 1 when a frame was due. */
static uint8_t axes_tick(core_t *core)
{
    telemetry_t *telemetry = &core->telemetry;
    uint16_t phase = telemetry->axis_phase;
    if (telemetry->axis_period == 0) {
        return 0;
    }
    telemetry->axis_phase = (uint16_t)(phase + 1) == telemetry->axis_period ? 0 : (uint16_t)(phase + 1);
    if (phase != 0 && (CORE_BOARD_AXES < 2 || phase != telemetry->axis_period / 2)) {
        return 0;
    }
    send_axis(core, phase != 0);
    return 1;
}

static void board_tick(core_t *core, uint8_t tick_taken)
{
    telemetry_t *telemetry = &core->telemetry;
    if (telemetry->board_period == 0) {
        return;
    }
    if (telemetry->board_left > 0) {
        telemetry->board_left--;
    } else if (tick_taken && telemetry->axis_period > AXES) {
        telemetry->board_waited++;
    } else {
        send_board(core);
        telemetry->board_left = (uint16_t)(telemetry->board_period - 1 - telemetry->board_waited);
        telemetry->board_waited = 0;
    }
}

void telemetry_tick(core_t *core)
{
    board_tick(core, axes_tick(core));
}

void telemetry_wait(core_t *core)
{
    telemetry_t *telemetry = &core->telemetry;
    if (telemetry->board_left == 0 && telemetry->board_waited < WAITS) {
        telemetry->board_left = 1;
        telemetry->board_waited++;
    }
}
