/* What outlives a start: the EEPROM, a file of STORE_SIZE bytes; and the RAM that a reset does not clear, a mapped file
 * that has no name, so that it goes with the process, or has one, so that it stays. */
#ifndef POSIX_MEMORY_H
#define POSIX_MEMORY_H

#include "../core/core.h"

/* Opens the file, or makes a blank one. 0, or -1: errno tells, 0 for a file of another size. */
int eeprom_open(const char *path);

/* As the core asks for them: never waits. A byte is written whole or not at all, in order; a kill keeps what was
 * written. (Whether the computer's own power cut keeps it is up to its disk: this is no memory for a machine.) */
uint8_t eeprom_get(uint16_t address);
void eeprom_put(uint16_t address, uint8_t value);

/* A descriptor for the record: of a file by this name, or of one without a name. -1: errno tells. */
int record_open(const char *path);

/* The record behind the descriptor; NULL: errno tells. */
noinit_t *record_map(int fd);

#endif
