/* The firmware's drive layer alone: what a test puts into `order` is put on the lines. */
#include <stdint.h>

#include "../../firmware_reference/src/avr/drive.h"
#include "../../firmware_reference/src/core/port.h"

volatile uint8_t go;
outputs_t order;

void core_assert_failed(void)
{
    for (;;) { }
}

int main(void)
{
    drive_low();
    drive_start();
    for (;;) {
        uint8_t asked = go;
        if (asked == 2) {                      /* as watchdog.c does without a reset */
            drive_low();
            __asm__ volatile("jmp 0");
        }
        if (asked) {
            drive_put(&order);
            go = 0;
        }
    }
}
