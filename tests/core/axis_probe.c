/* One axis alone, for tests that hand it readings tick by tick. */
#include "../../firmware_reference/src/core/axis.h"

#include <stdlib.h>

typedef struct {
    axis_t axis;
    settings_axis_t set;
    axis_in_t in;
    axis_out_t out;
} probe_t;

/* What a test may see, wide enough for all. */
typedef struct {
    int32_t drive, bridge, output, state, flags, ended, cause, motion, faults, position_um, speed_um_s, reference_um;
    int32_t current_ma, rest_raw, rest_position_um, current_before_ma, current_stop_ma, current_probe_ma, on_ticks;
    int32_t also;
    int32_t events;
    int32_t event[AXIS_EVENTS_MAX][4];
} probe_view_t;

probe_t *probe_new(const uint8_t *settings);
void probe_free(probe_t *probe);
void probe_settings(probe_t *probe, const uint8_t *settings);
void probe_tick(probe_t *probe, uint16_t raw, uint16_t current4, uint32_t duty_room, probe_view_t *view);
uint32_t probe_ticks(const probe_t *probe);
int probe_jog(probe_t *probe, int unit, int32_t value);
int probe_run(probe_t *probe, int output);
int probe_seek(probe_t *probe, int direction);
int probe_move(probe_t *probe, int32_t target_um, int32_t speed_um_s);
void probe_stop(probe_t *probe, int category);
void probe_renew(probe_t *probe, uint32_t echoed);
uint32_t probe_clear(probe_t *probe);

probe_t *probe_new(const uint8_t *settings)
{
    probe_t *probe = calloc(1, sizeof *probe);
    if (probe != NULL) {
        memcpy(&probe->set, settings, sizeof probe->set);
        axis_init(&probe->axis);
        probe->in.supply_mv = probe->in.supply_nominal_mv = 12000;
        probe->in.board_mv = 5000;
    }
    return probe;
}

void probe_free(probe_t *probe)
{
    free(probe);
}

void probe_settings(probe_t *probe, const uint8_t *settings)
{
    memcpy(&probe->set, settings, sizeof probe->set);
    axis_settings_changed(&probe->axis);
}

void probe_tick(probe_t *probe, uint16_t raw, uint16_t current4, uint32_t duty_room, probe_view_t *view)
{
    const axis_t *axis = &probe->axis;
    probe->in.tick++;
    probe->in.raw = raw;
    probe->in.current4 = current4;
    probe->in.duty_room = duty_room;
    axis_tick(&probe->axis, &probe->set, &probe->in, &probe->out);
    *view = (probe_view_t){
        probe->out.drive, probe->out.bridge, axis->output_permille, axis->state, axis->flags, axis->ended, axis->cause,
        axis->motion, (int32_t)axis->faults, axis->position_um, axis->speed_um_s, axis->reference_um,
        axis->current_ma, axis->rest_raw, axis->rest_position_um, axis->current_before_ma, axis->current_stop_ma,
        axis->current_probe_ma, (int32_t)axis->on_ticks, axis->also,
        probe->out.events, {{0}},
    };
    for (int n = 0; n < probe->out.events; n++) {
        axis_event_t event;
        axis_event(axis, &probe->out, (uint8_t)n, &event);
        view->event[n][0] = event.told.kind;
        view->event[n][1] = event.told.cause;
        view->event[n][2] = event.value_a;
        view->event[n][3] = event.value_b;
    }
}

/* Commands are carried out in the tick that comes next. */
uint32_t probe_ticks(const probe_t *probe)
{
    return probe->in.tick + 1;
}

int probe_jog(probe_t *probe, int unit, int32_t value)
{
    return axis_jog(&probe->axis, &probe->set, probe_ticks(probe), (uint8_t)unit, value);
}

int probe_run(probe_t *probe, int output)
{
    return axis_run(&probe->axis, &probe->set, probe_ticks(probe), (int16_t)output);
}

int probe_seek(probe_t *probe, int direction)
{
    return axis_seek(&probe->axis, &probe->set, probe_ticks(probe), (int8_t)direction);
}

int probe_move(probe_t *probe, int32_t target_um, int32_t speed_um_s)
{
    return axis_move(&probe->axis, &probe->set, probe_ticks(probe), target_um, speed_um_s);
}

void probe_stop(probe_t *probe, int category)
{
    axis_stop(&probe->axis, &probe->set, (uint8_t)category, ENDED_STOPPED);
}

void probe_renew(probe_t *probe, uint32_t echoed)
{
    axis_renew(&probe->axis, echoed);
}

uint32_t probe_clear(probe_t *probe)
{
    return axis_clear(&probe->axis);
}

void core_assert_failed(void)
{
    abort();
}
