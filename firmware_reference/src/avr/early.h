/* What happens before main: outputs low first, then the watchdog, then the stack is painted. */
#ifndef EARLY_H
#define EARLY_H

#include <stdint.h>

#define EARLY_PAINT 0xC5u

/* MCUSR as this start found it; 0 when a bootloader had cleared it. */
extern uint8_t early_reset_flags;

#endif
