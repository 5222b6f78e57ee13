/* One rod, its settings, and a row of random motions through axis_tick: what the rod truly did. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "axis.h"
#include "plant.h"

#define MOTIONS 10

typedef struct {
    double kind;                /* AXIS_STATE_ of the motion */
    double ended;
    double cause;
    double distance_mm;
    double ideal_s;             /* the trapezoid's */
    double arrived_s;           /* output first 0 for good measure: the way without the creep-in */
    double ended_s;
    double inside_s;            /* from here on within the tolerance */
    double error_mm;            /* true rest less target */
    double past_mm;             /* beyond the soft stop, worst */
    double on_ticks;
    double speed_mm_s;
    double inches;
} motion_result_t;

typedef struct {
    axis_t axis;
    plant_t plant;
    axis_in_t in;
    axis_out_t out;
    const settings_axis_t *set;
} trial_t;

double line_mm(const settings_axis_t *set, double raw)
{
    return (raw - set->raw_retracted) / ((double)set->raw_extended - set->raw_retracted) * set->stroke_um / 1000.0;
}

static double true_mm(const trial_t *t)
{
    return line_mm(t->set, plant_raw(&t->plant));
}

static void tick(trial_t *t, motion_result_t *r)
{
    t->in.tick++;
    t->in.raw = plant_pot(&t->plant);
    t->in.current4 = plant_current4(&t->plant);
    axis_renew(&t->axis, t->in.tick);
    axis_tick(&t->axis, t->set, &t->in, &t->out);
    plant_step(&t->plant, t->set->motor_reversed ? -t->out.drive : t->out.drive, t->out.bridge);
    double mm = true_mm(t);
    r->past_mm = fmax(r->past_mm, fmax(mm - t->set->soft_stop_max_um / 1000.0, t->set->soft_stop_min_um / 1000.0 - mm));
}

static double ideal_s(const settings_axis_t *set, double distance, double speed)
{
    double up = set->acceleration_um_s2 / 1000.0, down = set->deceleration_um_s2 / 1000.0;
    double ramps = speed * speed / 2 * (1 / up + 1 / down);
    if (ramps > distance) {
        speed = sqrt(distance * 2 / (1 / up + 1 / down));
        ramps = distance;
    }
    return speed / up + speed / down + (distance - ramps) / speed;
}

static int32_t pick_target(trial_t *t)
{
    double where = plant_uniform(&t->plant);
    int32_t low = t->set->soft_stop_min_um, high = t->set->soft_stop_max_um;
    if (where < 0.2) {
        return low;
    }
    if (where > 0.8) {
        return high;
    }
    return low + (int32_t)(plant_uniform(&t->plant) * (high - low));
}

static uint8_t command(trial_t *t, motion_result_t *r, int first, int32_t *target)
{
    double which = plant_uniform(&t->plant), side = plant_uniform(&t->plant) < 0.5 ? -1 : 1;
    double size = 0.1 + 0.9 * plant_uniform(&t->plant);
    const settings_axis_t *set = t->set;
    *target = side < 0 ? set->soft_stop_min_um : set->soft_stop_max_um;
    if (first || which < 0.6) {
        *target = pick_target(t);
        int32_t speed = plant_uniform(&t->plant) < 0.6 ? 0 : (int32_t)(size * set->speed_max_um_s);
        r->kind = AXIS_STATE_MOVE;
        r->speed_mm_s = (speed ? speed : set->speed_max_um_s) / 1000.0;
        return axis_move(&t->axis, set, t->in.tick + 1, *target, speed);
    }
    if (which < 0.8) {
        r->kind = AXIS_STATE_JOG;
        r->speed_mm_s = size * set->speed_max_um_s / 1000.0;
        return axis_jog(&t->axis, set, t->in.tick + 1, JOG_UNIT_SPEED, (int32_t)(side * size * set->speed_max_um_s));
    }
    r->kind = AXIS_STATE_RUN;
    return axis_run(&t->axis, set, t->in.tick + 1, (int16_t)(side * (set->creep_output_permille + (1000 - set->creep_output_permille) * plant_uniform(&t->plant))));
}

static void motion(trial_t *t, motion_result_t *r, int first)
{
    int32_t target = 0;
    double from = true_mm(t);
    uint8_t status = command(t, r, first, &target);
    r->ended = 100 + status;
    r->distance_mm = fabs(target / 1000.0 - from);
    r->ideal_s = ideal_s(t->set, r->distance_mm, r->speed_mm_s > 0 ? r->speed_mm_s : 1);
    if (status != STATUS_OK) {
        return;
    }
    double tolerance = fmax(1.0, t->set->stroke_um / 100000.0);
    int n = 0;
    for (; n < 200 * 900 && !(n > 0 && axis_at_rest(&t->axis)); n++) {
        tick(t, r);
        if (r->arrived_s == 0 && t->axis.resting) {
            r->arrived_s = (n + 1) * 0.005;
        }
        if (fabs(true_mm(t) - target / 1000.0) > tolerance) {
            r->inside_s = (n + 1) * 0.005;
        }
    }
    r->ended_s = n * 0.005;
    r->ended = t->axis.ended;
    r->cause = t->axis.cause;
    r->on_ticks = t->axis.on_ticks;
    r->inches = t->axis.inches;
    r->error_mm = true_mm(t) - target / 1000.0;
}

int promise_motions(void)
{
    return MOTIONS;
}

int promise_settings_size(void)
{
    return (int)sizeof(settings_axis_t);
}

void core_assert_failed(void)
{
    abort();
}

void promise_run(const plant_params_t *p, const settings_axis_t *set, double start_mm, motion_result_t *results)
{
    trial_t t;
    memset(&t, 0, sizeof t);
    t.set = set;
    plant_start(&t.plant, p, start_mm);
    axis_init(&t.axis);
    t.in.duty_room = 1000000;
    t.in.supply_mv = t.in.supply_nominal_mv = (uint16_t)(p->supply_v * 1000);
    t.in.board_mv = 5000;
    memset(results, 0, sizeof(motion_result_t) * MOTIONS);
    motion_result_t idle = {0};
    for (int n = 0; n < 60; n++) {
        tick(&t, &idle);
    }
    for (int n = 0; n < MOTIONS; n++) {
        motion(&t, &results[n], n == 0);
        for (int rest = 0; rest < 20; rest++) {
            tick(&t, &results[n]);
        }
        if (t.axis.faults) {
            return;
        }
    }
}

typedef struct {
    double ended;
    double cause;
    double from_end_mm;         /* true place of the end found, outwards of the nominal end positive */
    double took_s;              /* from the true stop to the end found */
    double before_ma;
    double stop_ma;
    double probe_ma;
    double running_ma;          /* true, while creeping */
    double on_ticks;
} seek_result_t;

static void seek(trial_t *t, int direction, seek_result_t *r)
{
    motion_result_t unused = {0};
    axis_seek(&t->axis, t->set, t->in.tick + 1, (int8_t)direction);
    uint32_t last_moved = t->in.tick, samples = 0;
    for (int n = 0; n < 200 * 1200 && !(n > 0 && axis_at_rest(&t->axis)); n++) {
        double before = t->plant.x_mm;
        tick(t, &unused);
        if (fabs(t->plant.x_mm - before) > 1e-7 && t->axis.state == AXIS_STATE_SEEK) {
            last_moved = t->in.tick;
            r->running_ma += n > 100 ? t->plant.i * t->plant.p->stall_a * 1000 : 0;
            samples += n > 100;
        }
        if (t->axis.state == AXIS_STATE_SEEK) {
            r->took_s = (t->in.tick - last_moved) * 0.005;
        }
    }
    r->running_ma /= samples ? samples : 1;
    r->ended = t->axis.ended;
    r->cause = t->axis.cause;
    r->from_end_mm = direction > 0 ? t->plant.x_mm - t->plant.p->stroke_mm : -t->plant.x_mm;
    r->before_ma = t->axis.current_before_ma;
    r->stop_ma = t->axis.current_stop_ma;
    r->probe_ma = t->axis.current_probe_ma;
    r->on_ticks = t->axis.on_ticks;
}

/* Extend to the end, retract to the end, and extend once more with the rod already there. */
void promise_seek(const plant_params_t *p, const settings_axis_t *set, double start_mm, seek_result_t *results)
{
    static const int way[] = {1, 1, -1};
    trial_t t;
    memset(&t, 0, sizeof t);
    memset(results, 0, sizeof(seek_result_t) * 3);
    t.set = set;
    plant_start(&t.plant, p, start_mm);
    axis_init(&t.axis);
    t.in.duty_room = 1000000;
    t.in.supply_mv = t.in.supply_nominal_mv = (uint16_t)(p->supply_v * 1000);
    t.in.board_mv = 5000;
    motion_result_t idle = {0};
    for (int n = 0; n < 60; n++) {
        tick(&t, &idle);
    }
    for (int n = 0; n < 3 && !t.axis.faults; n++) {
        seek(&t, way[n], &results[n]);
    }
}
