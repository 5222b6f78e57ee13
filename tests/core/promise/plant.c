#include "plant.h"

#include <math.h>
#include <string.h>

#define SUB 20
#define STEP_S (0.005 / SUB)

static uint64_t next_random(plant_t *plant)
{
    uint64_t x = plant->random;
    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    plant->random = x;
    return x * 0x2545F4914F6CDD1DULL;
}

double plant_uniform(plant_t *plant)
{
    return (double)(next_random(plant) >> 11) / 9007199254740992.0;
}

static double gauss(plant_t *plant)
{
    double a = plant_uniform(plant);
    double b = plant_uniform(plant);
    return sqrt(-2.0 * log(a + 1e-300)) * cos(6.283185307179586 * b);
}

void plant_start(plant_t *plant, const plant_params_t *p, double x_mm)
{
    memset(plant, 0, sizeof *plant);
    plant->p = p;
    plant->x_mm = x_mm;
    plant->random = p->seed * 0x9E3779B97F4A7C15ULL + 1;
    for (int n = 0; n < 8; n++) {
        next_random(plant);
    }
}

/* What resists motion this way, share of stall. */
static double resistance(const plant_params_t *p, int direction)
{
    double load = p->load * direction;
    return load >= 0 ? p->friction + load : p->aided;
}

static double acceleration(const plant_params_t *p, double v, double drive, int closed)
{
    double motor = closed ? drive - v : 0.0;
    return v > 0 ? motor - resistance(p, 1) : motor + resistance(p, -1);
}

static void sub_step(plant_t *plant, double u, int closed)
{
    const plant_params_t *p = plant->p;
    if (p->switched > 0 && ((u > 0 && plant->x_mm >= p->stroke_mm) || (u < 0 && plant->x_mm <= 0))) {
        closed = 0;             /* the switch is open, and its diode carries only the way back */
    }
    double current = closed ? u - plant->v : 0.0;
    double drive = u * (1.0 - p->sag * fabs(u * current));
    if (p->one_way > 0 && u != 0 && (drive - plant->v) * u < 0) {
        closed = 0;
    }
    plant->i = closed ? fabs(drive - plant->v) : 0.0;
    if (plant->v == 0) {
        double push = closed ? drive : 0.0;
        if (fabs(push) <= resistance(p, push > 0 ? 1 : -1) * p->stiction) {
            return;
        }
        plant->v = push > 0 ? 1e-12 : -1e-12;
    }
    double before = plant->v;
    plant->v += STEP_S / p->response_s * acceleration(p, before, drive, closed);
    if (plant->v * before < 0) {
        plant->v = 0;
    }
    plant->x_mm += 0.5 * (plant->v + before) * p->no_load_mm_s * STEP_S;
    double over = p->switched > 0 ? 0.05 * p->stroke_mm : 0;
    if (plant->x_mm > p->stroke_mm + over || plant->x_mm < -over) {
        plant->x_mm = plant->x_mm < 0 ? -over : p->stroke_mm + over;
        plant->v = 0;
    }
}

void plant_step(plant_t *plant, int drive, int bridge)
{
    int closed = bridge == 2 || (bridge == 1 && plant->p->driver_brakes > 0);
    double u = bridge == 2 ? drive / 1000.0 : 0.0;
    double sum = 0;
    for (int n = 0; n < SUB; n++) {
        sub_step(plant, u, closed);
        sum += plant->i;
    }
    plant->i = bridge == 2 ? sum / SUB : 0.0;
    const double forget = exp(-0.005 / 0.05);
    plant->slow_noise = plant->slow_noise * forget + sqrt(1 - forget * forget) * gauss(plant);
}

static double share(const plant_params_t *p, double x_mm)
{
    return p->pot_retracted + (p->pot_extended - p->pot_retracted) * x_mm / p->stroke_mm;
}

double plant_raw(const plant_t *plant)
{
    return share(plant->p, plant->x_mm) * 8192.0 - 4.0;
}

static double clip(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

uint16_t plant_pot(plant_t *plant)
{
    const plant_params_t *p = plant->p;
    double slow = p->noise_lsb * sqrt(p->correlated) * plant->slow_noise;
    double fast = p->noise_lsb * sqrt(1 - p->correlated);
    double sum = 0;
    for (int n = 0; n < 8; n++) {
        sum += clip(floor(share(p, plant->x_mm) * 1024.0 + slow + fast * gauss(plant)), 0, 1023);
    }
    return (uint16_t)sum;
}

uint16_t plant_current4(plant_t *plant)
{
    const plant_params_t *p = plant->p;
    double sum = 0;
    for (int n = 0; n < 4; n++) {
        sum += clip(floor(plant->i * p->stall_a * p->volt_per_a / 5.0 * 1024.0 + 0.4 * gauss(plant) + 0.5), 0, 1023);
    }
    return (uint16_t)sum;
}

double plant_full_speed(const plant_params_t *p, int direction, double u)
{
    double need = resistance(p, direction);
    double v = u - need;
    for (int n = 0; n < 20; n++) {
        v = u * (1.0 - p->sag * fabs(u * (u - v))) - need;
    }
    return v * p->no_load_mm_s;
}

double plant_run_on(const plant_params_t *p, int direction, double v)
{
    plant_t plant;
    plant_params_t free = *p;
    free.stroke_mm = 1e6;
    plant_start(&plant, &free, 5e5);
    plant.v = direction * v;
    for (int n = 0; n < 2000 && plant.v * direction > 0; n++) {
        plant_step(&plant, 0, 1);
    }
    return direction * (plant.x_mm - 5e5) + v * p->no_load_mm_s * 0.005;
}
