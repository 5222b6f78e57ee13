#include "telemetry.h"

#include "bytes.h"
#include "gang.h"
#include "port.h"

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
    put_u8(at, (uint8_t)(axis->also | (gang_is_on(core) ? AXIS_ALSO_GANGED : 0)));
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
    at = put_u32(at, duty_total(&duty[0]));
    at = put_u32(at, duty_total(&duty[1]));
    at = put_u32(at, duty_room(&duty[0], &core->live.axis[0]) * MS_PER_TICK);
    at = put_u32(at, duty_room(&duty[1], &core->live.axis[1]) * MS_PER_TICK);
    at = put_u16(at, core->counters.frames_bad);
    at = put_u16(at, core->counters.late_ticks);
    memset(at, 0, TELEMETRY_BOARD_LOCAL_1_AT - TELEMETRY_BOARD_DUTY_READY_1_MS_AT);
    at += TELEMETRY_BOARD_LOCAL_1_AT - TELEMETRY_BOARD_DUTY_READY_1_MS_AT;
    at = put_u16(at, core->axis[0].local.value);
    put_u16(at, core->axis[1].local.value);
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
