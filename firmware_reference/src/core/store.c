#include "store.h"

#include "digest.h"
#include "port.h"

/* Places in a slot. The CRC-32 covers everything after it. */
#define SLOT_FORMAT 0
#define SLOT_CRC 1
#define SLOT_GENERATION 5
#define SLOT_BOARD_SIZE 7
#define SLOT_AXIS_SIZE 8
#define SLOT_DATA 9
#define SLOT_END (SLOT_DATA + (uint16_t)sizeof(settings_t))

_Static_assert(SLOT_END <= STORE_SLOT_SIZE, "settings fit their slot");
_Static_assert(STORE_TRIPS_AT + 8 * 18 <= STORE_SIZE, "map fits the memory");

static uint16_t slot_at(uint8_t slot)
{
    return slot ? STORE_SLOT_AT + STORE_SLOT_SIZE : STORE_SLOT_AT;
}

static uint16_t read_u16(ee_read_t ee_read, uint16_t at)
{
    return (uint16_t)(ee_read(at) | (uint16_t)(ee_read((uint16_t)(at + 1)) << 8));
}

static void scope_defaults(uint8_t *to, const setting_entry_t *entries, uint8_t entry_count)
{
    setting_entry_t entry;
    for (uint8_t i = 0; i < entry_count; i++) {
        CORE_ROM_COPY(&entry, &entries[i], sizeof entry);
        for (uint8_t n = 0; n < entry.count; n++) {
            memcpy(to + entry.offset + n * entry.width, &entry.def, entry.width);   /* little-endian */
        }
    }
}

void settings_defaults(settings_t *settings)
{
    scope_defaults((uint8_t *)&settings->board, setting_entries_board, SETTINGS_BOARD_ENTRIES);
    scope_defaults((uint8_t *)&settings->axis[0], setting_entries_axis, SETTINGS_AXIS_ENTRIES);
    settings->axis[1] = settings->axis[0];
}

/* STORE_LOADED when the slot is good, STORE_NOTHING when its format byte was never written. */
static uint8_t slot_state(uint8_t slot, ee_read_t ee_read)
{
    uint16_t at = slot_at(slot);
    uint8_t format = ee_read((uint16_t)(at + SLOT_FORMAT));
    if (format != STORE_FORMAT) {
        return format == STORE_BLANK ? STORE_NOTHING : STORE_DAMAGED;
    }
    uint16_t data = (uint16_t)(ee_read((uint16_t)(at + SLOT_BOARD_SIZE)) + 2 * ee_read((uint16_t)(at + SLOT_AXIS_SIZE)));
    if (data > STORE_SLOT_SIZE - SLOT_DATA) {
        return STORE_DAMAGED;
    }
    uint32_t crc = DIGEST_START;
    for (uint16_t i = SLOT_GENERATION; i < SLOT_DATA + data; i++) {
        crc = digest_byte(crc, ee_read((uint16_t)(at + i)));
    }
    uint32_t stored = read_u16(ee_read, (uint16_t)(at + SLOT_CRC));
    stored |= (uint32_t)read_u16(ee_read, (uint16_t)(at + SLOT_CRC + 2)) << 16;
    return stored == ~crc ? STORE_LOADED : STORE_DAMAGED;
}

/* Copies what both the slot and this firmware know. Returns where the next scope begins. */
static uint16_t read_scope(uint8_t *to, uint8_t known, uint16_t at, uint8_t stored, ee_read_t ee_read)
{
    for (uint8_t i = 0; i < stored && i < known; i++) {
        to[i] = ee_read((uint16_t)(at + i));
    }
    return (uint16_t)(at + stored);
}

static void read_slot(settings_t *settings, uint8_t slot, ee_read_t ee_read)
{
    uint16_t at = slot_at(slot);
    uint8_t board = ee_read((uint16_t)(at + SLOT_BOARD_SIZE));
    uint8_t axis = ee_read((uint16_t)(at + SLOT_AXIS_SIZE));
    at = read_scope((uint8_t *)&settings->board, sizeof(settings_board_t), (uint16_t)(at + SLOT_DATA), board, ee_read);
    at = read_scope((uint8_t *)&settings->axis[0], sizeof(settings_axis_t), at, axis, ee_read);
    read_scope((uint8_t *)&settings->axis[1], sizeof(settings_axis_t), at, axis, ee_read);
}

uint8_t store_load(store_t *store, settings_t *settings, ee_read_t ee_read)
{
    uint8_t state_0 = slot_state(0, ee_read);
    uint8_t state_1 = slot_state(1, ee_read);
    uint16_t generation_0 = read_u16(ee_read, (uint16_t)(slot_at(0) + SLOT_GENERATION));
    uint16_t generation_1 = read_u16(ee_read, (uint16_t)(slot_at(1) + SLOT_GENERATION));
    memset(store, 0, sizeof *store);
    settings_defaults(settings);
    if (state_0 != STORE_LOADED && state_1 != STORE_LOADED) {
        store->slot = 1;                                    /* so that the first store goes to slot 0 */
        return state_0 == STORE_DAMAGED || state_1 == STORE_DAMAGED ? STORE_DAMAGED : STORE_NOTHING;
    }
    uint8_t newer_1 = (uint16_t)(generation_1 - generation_0) < 0x8000u;
    store->slot = state_0 != STORE_LOADED || (state_1 == STORE_LOADED && newer_1);
    store->generation = store->slot ? generation_1 : generation_0;
    read_slot(settings, store->slot, ee_read);
    store->digest = digest_of(settings, sizeof *settings);
    return STORE_LOADED;
}

uint16_t store_begin(store_t *store)
{
    store->writing = 1;
    store->place = SLOT_DATA;
    store->check_address = 0;
    store->crc = DIGEST_START;
    uint16_t generation = (uint16_t)(store->generation + 1);
    store->crc = digest_byte(store->crc, (uint8_t)generation);
    store->crc = digest_byte(store->crc, (uint8_t)(generation >> 8));
    store->crc = digest_byte(store->crc, (uint8_t)sizeof(settings_board_t));
    store->crc = digest_byte(store->crc, (uint8_t)sizeof(settings_axis_t));
    return generation;
}

static uint8_t header_byte(const store_t *store, uint8_t place)
{
    uint16_t generation = (uint16_t)(store->generation + 1);
    switch (place) {
    case SLOT_FORMAT:
        return STORE_FORMAT;
    case SLOT_GENERATION:
        return (uint8_t)generation;
    case SLOT_GENERATION + 1:
        return (uint8_t)(generation >> 8);
    case SLOT_BOARD_SIZE:
        return (uint8_t)sizeof(settings_board_t);
    case SLOT_AXIS_SIZE:
        return (uint8_t)sizeof(settings_axis_t);
    default:
        return (uint8_t)(~store->crc >> (8 * (place - SLOT_CRC)));
    }
}

static uint8_t store_end(store_t *store, const settings_t *settings, uint8_t good)
{
    store->writing = 0;
    if (!good) {
        return STORE_FAILED;
    }
    store->slot ^= 1;
    store->generation++;
    store->digest = digest_of(settings, sizeof *settings);
    return STORE_GOOD;
}

/* Data first, then the header from behind, so that the format byte comes last. */
static uint16_t place_after(uint16_t place)
{
    if (place >= SLOT_DATA) {
        return place + 1 < SLOT_END ? place + 1 : SLOT_DATA - 1;
    }
    return place - 1;
}

uint8_t store_tick(store_t *store, const settings_t *settings, ee_read_t ee_read, uint16_t *address, uint8_t *value)
{
    *address = 0;
    if (!store->writing) {
        return STORE_IDLE;
    }
    if (store->check_address != 0 && ee_read(store->check_address) != store->check_value) {
        return store_end(store, settings, 0);
    }
    if (store->writing == 2) {
        return store_end(store, settings, 1);
    }
    uint16_t at = (uint16_t)(slot_at(store->slot ^ 1) + store->place);
    uint8_t byte;
    if (store->place >= SLOT_DATA) {
        byte = ((const uint8_t *)settings)[store->place - SLOT_DATA];
        store->crc = digest_byte(store->crc, byte);
    } else {
        byte = header_byte(store, (uint8_t)store->place);
    }
    store->check_address = at;
    store->check_value = byte;
    if (ee_read(at) != byte) {
        *address = at;
        *value = byte;
    }
    if (store->place == SLOT_FORMAT) {
        store->writing = 2;                                 /* all written; the last byte is yet to be read back */
    }
    store->place = place_after(store->place);
    return STORE_IDLE;
}
