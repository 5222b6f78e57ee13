#include "adc.h"

#define BANDGAP_EVERY 16u
#define TOP 0x0FFFu

static adc_sums_t latest;
static uint8_t turn;                /* 0..15; the bandgap has turn 0 */

static uint16_t code(uint16_t conversion)
{
    return conversion > TOP ? (uint16_t)TOP : conversion;
}

void adc_latch(const conversions_t *scan)
{
    latest.pot = 0;
    for (uint8_t n = 0; n < ADC_POT_CONVERSIONS; n++) { latest.pot = (uint16_t)(latest.pot + code(scan->pot[n])); }
    latest.current = code(scan->current);
    latest.supply = code(scan->supply);
    if (turn == 0) { latest.bandgap = code(scan->bandgap); }
    turn = (uint8_t)((turn + 1u) % BANDGAP_EVERY);
}

const adc_sums_t *adc_latest(void)
{
    return &latest;
}
