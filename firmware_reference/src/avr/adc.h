/* The fixed scan of each tick: single conversions, the next one started in the interrupt of the last.
 *
 *   sticks 1+1 each (in every sixteenth tick the bandgap 3+1 in their place), supply 1+1,
 *   currents 1+4 each, pots 1+8 each: always 34 conversions, the first ones after a change of
 *   channel dropped. The scan starts SCAN_PHASE half milliseconds after the tick, when the outputs of the
 *   tick are in force. ADMUX is written only while the converter is idle.
 */
#ifndef ADC_H
#define ADC_H

#include <stdint.h>

#include "../core/core.h"

#define ADC_SCAN_PHASE 1u

/* Reads some noise from the bandgap by waiting for conversions (about 2 ms; before interrupts are on). */
uint16_t adc_noise(void);

/* Converter on, nothing running. */
void adc_start(void);

/* From the tick's interrupt: the sums that the last scan gave become adc_latest, and stay for the whole tick. The
 * bandgap's is that of the last bandgap tick, 0 before the first. */
void adc_latch(void);

/* From the timer's interrupt: starts the scan. Nothing happens while one is running. */
void adc_scan(void);

/* Valid until the next adc_latch; inputs and ee_ready are the caller's to fill in. */
readings_t *adc_latest(void);

#endif
