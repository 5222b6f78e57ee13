/* The EEPROM: at most one byte per tick, never waited for, no interrupt. */
#ifndef EEPROM_H
#define EEPROM_H

#include <stdint.h>

/* Waits while a write is under way: in a tick only called when eeprom_ready, so that it never does there. */
uint8_t eeprom_get(uint16_t address);

/* 1: a byte may be written now. */
uint8_t eeprom_ready(void);

/* Starts an erase-and-write of one byte; 0 and nothing done while the last one is under way. */
uint8_t eeprom_put(uint16_t address, uint8_t value);

#endif
