/* Settings in non-volatile memory: two slots, written in turn, one byte per tick.
 *
 * Memory map (1024 bytes): byte 0 unused; settings slots; hot record, totals, trips.
 * A slot: settings from SLOT_DATA on, before them generation, lengths and CRC-32, and first of all the format
 * byte, which is written last: so the slot is whole, or it does not count. A shorter scope from an older firmware
 * is filled up with defaults; of a longer one from a newer firmware the known part is used.
 */
#ifndef RODBENCH_STORE_H
#define RODBENCH_STORE_H

#include <stdint.h>

#include "../generated/schema.h"

#define STORE_SIZE 1024
#define STORE_SLOT_AT 1
#define STORE_SLOT_SIZE 328
#define STORE_HOT_AT 657                /* 17 of 9 */
#define STORE_TOTALS_AT 817             /* 2 of 28 */
#define STORE_TRIPS_AT 873              /* 8 of 18 */

#define STORE_FORMAT 1
#define STORE_BLANK 0xFF

typedef struct __attribute__((packed)) {
    settings_board_t board;
    settings_axis_t axis[2];
} settings_t;

/* What a digest of all covers: an axis that the board has not is kept, as defaults, and not counted. */
#define SETTINGS_COUNTED (offsetof(settings_t, axis) + CORE_BOARD_AXES * sizeof(settings_axis_t))

typedef uint8_t (*ee_read_t)(uint16_t address);

#define STORE_LOADED 0                  /* STORE_... of store_load */
#define STORE_NOTHING 1                 /* never stored: defaults */
#define STORE_DAMAGED 2                 /* stored, but neither slot is good: defaults */

#define STORE_IDLE 0                    /* STORE_... of store_tick */
#define STORE_GOOD 1                    /* a store ended just now */
#define STORE_FAILED 2

typedef struct {
    uint32_t crc;                       /* while writing */
    uint32_t digest;                    /* of what the next start will load; 0: nothing */
    uint16_t generation;                /* of the newest good slot */
    uint16_t place;                     /* next byte of the slot to write, 0 when idle */
    uint16_t check_address;             /* byte written last, to be read back; 0: none */
    uint8_t check_value;
    uint8_t slot;                       /* the newest good one */
    uint8_t writing;
} store_t;

void settings_defaults(settings_t *settings);

/* Small records, their last byte a check; memory.h says how they are written. `size` is with the check byte. */
#define RECORD_SPOILT 0xFF              /* the check byte of no record, and of a blank memory */
void record_seal(void *record, uint8_t size);
uint8_t record_get(void *to, uint8_t size, uint16_t at, ee_read_t ee_read);     /* 0: it does not count */

/* Records that begin with a number: the newest of those from `at` on into *newest, all 0 when none counts. Returns
 * whether one does. */
#define RECORD_MOST 28
uint8_t record_newest(void *newest, uint8_t size, uint16_t at, uint8_t places, ee_read_t ee_read);

/* Settings, or defaults, into *settings. */
uint8_t store_load(store_t *store, settings_t *settings, ee_read_t ee_read);

/* Begins to write. The settings must not change until it ended. Returns the generation. */
uint16_t store_begin(store_t *store);

/* One step. Sets *address to the byte to write now and *value, or *address to 0. */
uint8_t store_tick(store_t *store, const settings_t *settings, ee_read_t ee_read, uint16_t *address, uint8_t *value);

#endif
