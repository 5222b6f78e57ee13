/* The firmware's capture of servo pulses alone, with its timer: each tick's widths are left in `seen`. */
#include <stdint.h>

#include <avr/interrupt.h>

#include "../../firmware_reference/src/avr/adc.h"
#include "../../firmware_reference/src/avr/pulse.h"
#include "../../firmware_reference/src/avr/timebase.h"

volatile uint16_t seen[AXES];

void adc_latch(void) { }

void adc_scan(void) { }

int main(void)
{
    pulse_start();
    timebase_start();
    sei();
    for (;;) {
        if (timebase_take()) {
            for (uint8_t index = 0; index < AXES; index++) { seen[index] = pulse_us(index); }
            (void)timebase_done();
        }
    }
}
