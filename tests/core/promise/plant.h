/* A small rod of our own for the promise of the soft stops: nothing here is shared with the emulator or the core.
 *
 * Speeds are in shares of the no-load speed at nominal supply, torques in shares of stall, so that
 *     T dv/dt = u - v - resistance * sign(v),     i = u - v     (DC motor: V = I R + K w)
 * Braking is u = 0 with the winding closed; coasting drops the back-EMF term.
 */
#ifndef PROMISE_PLANT_H
#define PROMISE_PLANT_H

#include <stdint.h>

typedef struct {
    double stroke_mm;
    double no_load_mm_s;
    double response_s;          /* T */
    double friction;            /* share of stall */
    double stiction;            /* times friction, at rest */
    double load;                /* share of stall, beside friction, when it resists; positive resists extending */
    double aided;               /* share of stall that resists, friction included, where the load aids: above 0,
                                   as the screw holds the load by itself */
    double sag;                 /* of the supply at stall current, share */
    double supply_v;
    double pot_retracted;       /* share of full scale */
    double pot_extended;
    double noise_lsb;           /* rms of one conversion */
    double correlated;          /* share of the noise power with 50 ms */
    double stall_a;
    double volt_per_a;          /* current sensor */
    double driver_brakes;       /* 1: output 0 shorts the motor; 0: it coasts */
    double switched;            /* 1: end switches with diodes at 0 and stroke, 5 % to run on; 0: hard stops there */
    double one_way;             /* 1: a driven bridge cannot carry braking current (enable by PWM) */
    uint64_t seed;
} plant_params_t;

typedef struct {
    const plant_params_t *p;
    double x_mm;
    double v;                   /* share of no-load speed */
    double i;                   /* share of stall, mean while driving */
    double slow_noise;
    uint64_t random;
} plant_t;

void plant_start(plant_t *plant, const plant_params_t *p, double x_mm);
void plant_step(plant_t *plant, int drive, int bridge);         /* 5 ms */
uint16_t plant_pot(plant_t *plant);                             /* sum of 8 conversions */
double plant_pot_mm(const plant_t *plant, double raw, double raw_retracted, double raw_extended);
double plant_raw(const plant_t *plant);                         /* noise-free */
uint16_t plant_current4(plant_t *plant);
double plant_uniform(plant_t *plant);                           /* 0 .. 1 */
double plant_full_speed(const plant_params_t *p, int direction, double u);     /* mm/s, steady */
double plant_run_on(const plant_params_t *p, int direction, double v);          /* mm after output 0 */

#endif
