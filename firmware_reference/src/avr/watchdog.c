#include "watchdog.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "../generated/schema.h"
#include "config.h"
#include "drive.h"

#define BIT(n) ((uint8_t)(1u << (n)))
#define PERIOD_32_MS BIT(WDP0)

#if BOARD_WATCHDOG_NORESET
#define MODE BIT(WDIE)                              /* interrupt alone */
#else
#define MODE ((uint8_t)(BIT(WDIE) | BIT(WDE)))      /* interrupt, then reset */
#endif

void watchdog_start(void)
{
    wdt_reset();
    WDTCSR = (uint8_t)(BIT(WDCE) | BIT(WDE));       /* the change within four cycles */
    WDTCSR = (uint8_t)(MODE | PERIOD_32_MS);
}

void watchdog_kick(void)
{
    wdt_reset();
}

#if BOARD_WATCHDOG_NORESET
/* The state after a reset as far as the next start relies on it. */
static void start_anew(void)
{
    wdt_disable();
    UCSR0B = 0;
    ADCSRA = 0;
    TIMSK1 = 0;
    TIMSK2 = 0;
    __asm__ volatile("jmp 0");
}
#else
static void start_anew(void)
{
    wdt_enable(WDTO_15MS);
}
#endif

void watchdog_restart(uint8_t cause)
{
    cli();
    drive_low();
    noinit_mark(&record, cause);
    start_anew();
    for (;;) { }
}

/* The core's way out when a check of its own failed. */
void core_assert_failed(void)
{
    watchdog_restart(RESET_CAUSE_ASSERTION);
}

/* An interrupt that nothing here asked for. */
ISR(BADISR_vect)
{
    watchdog_restart(RESET_CAUSE_ASSERTION);
}

ISR(WDT_vect)
{
    watchdog_restart(RESET_CAUSE_WATCHDOG);
}
