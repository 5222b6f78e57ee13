#include "early.h"

#include <avr/io.h>
#include <avr/wdt.h>

#include "drive.h"

uint8_t early_reset_flags __attribute__((section(".noinit")));

extern uint8_t _end;            /* first byte behind the variables, by the linker */

/* .init3 runs with the stack pointer set and before variables are: no stack frame, no return. */
void early_safe(void) __attribute__((naked, used, section(".init3")));
void early_safe(void)
{
    drive_low();
    early_reset_flags = MCUSR;
    MCUSR = 0;                  /* a standing WDRF would keep the watchdog on */
    wdt_disable();
}

/* The deepest use of the stack shows later as the lowest byte that is no longer paint. */
void early_paint(void) __attribute__((naked, used, section(".init5")));
void early_paint(void)
{
    __asm__ volatile(
        "ldi r30, lo8(_end)     \n\t"
        "ldi r31, hi8(_end)     \n\t"
        "ldi r24, %0            \n\t"
        "ldi r25, hi8(%1)       \n\t"
        "1: st Z+, r24          \n\t"
        "cpi r30, lo8(%1)       \n\t"
        "cpc r31, r25           \n\t"
        "brlo 1b                \n\t"
        :
        : "M"(EARLY_PAINT), "i"(RAMEND + 1)
        : "r24", "r25", "r30", "r31", "memory");
}
