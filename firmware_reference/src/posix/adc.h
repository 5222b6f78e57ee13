/* The converter of this board: 12 bits at 3.3 V. A reading of the pot is the sum of two conversions, all else is one;
 * the bandgap is taken in every sixteenth tick, the first after a start among them. */
#ifndef POSIX_ADC_H
#define POSIX_ADC_H

#include <stdint.h>

#define ADC_POT_CONVERSIONS 2

typedef struct {
    uint16_t pot[ADC_POT_CONVERSIONS];
    uint16_t current;
    uint16_t supply;
    uint16_t bandgap;
} conversions_t;

typedef struct {
    uint16_t pot;           /* 0 .. 8190 */
    uint16_t current;
    uint16_t supply;
    uint16_t bandgap;       /* of the last bandgap tick; 0 before the first */
} adc_sums_t;

/* Once a tick, with the conversions completed in it. What is more than 12 bits wide is cut. */
void adc_latch(const conversions_t *scan);

/* Valid until the next adc_latch. */
const adc_sums_t *adc_latest(void);

#endif
