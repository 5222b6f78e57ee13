#include "eeprom.h"

#include <avr/io.h>
#include <util/atomic.h>

#define BIT(n) ((uint8_t)(1u << (n)))

uint8_t eeprom_ready(void)
{
    return (EECR & BIT(EEPE)) ? 0 : 1;
}

uint8_t eeprom_get(uint16_t address)
{
    while (!eeprom_ready()) { }     /* at a start: a write goes on through a reset, 3.4 ms at most */
    EEAR = address;
    EECR |= BIT(EERE);
    return EEDR;
}

uint8_t eeprom_put(uint16_t address, uint8_t value)
{
    if (!eeprom_ready()) { return 0; }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        EECR = 0;                   /* erase and write in one, no interrupt */
        EEAR = address;
        EEDR = value;
        EECR |= BIT(EEMPE);         /* EEPE within four cycles */
        EECR |= BIT(EEPE);
    }
    return 1;
}
