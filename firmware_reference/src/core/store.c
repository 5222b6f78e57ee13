#include "store.h"

#include "bytes.h"
#include "digest.h"
#include "frame.h"
#include "port.h"

/* What stands before the settings in a slot. The CRC-32 covers everything after itself. */
typedef struct __attribute__((packed)) {
    uint8_t format;
    uint32_t crc;
    uint16_t generation;
    uint8_t board_size;
    uint8_t axis_size;
} head_t;

#define SLOT_FORMAT 0
#define SLOT_GENERATION offsetof(head_t, generation)
#define SLOT_DATA ((uint16_t)sizeof(head_t))
#define SLOT_END (SLOT_DATA + (uint16_t)sizeof(settings_t))

_Static_assert(SLOT_END <= STORE_SLOT_SIZE, "settings fit their slot");

static CORE_ONCE uint16_t slot_at(uint8_t slot)
{
    return slot ? STORE_SLOT_AT + STORE_SLOT_SIZE : STORE_SLOT_AT;
}

static void read_bytes(void *to, uint8_t size, uint16_t at, ee_read_t ee_read)
{
    for (uint8_t *byte = to; size > 0; size--) {
        *byte++ = ee_read(at++);
    }
}

static CORE_ONCE uint8_t check_of(const uint8_t *record, uint8_t size)
{
    uint8_t check = (uint8_t)frame_crc(record, (uint8_t)(size - 1));
    return check == RECORD_SPOILT ? 0 : check;
}

void record_seal(void *record, uint8_t size)
{
    uint8_t *byte = record;
    byte[size - 1] = check_of(byte, size);
}

uint8_t record_get(void *to, uint8_t size, uint16_t at, ee_read_t ee_read)
{
    read_bytes(to, size, at, ee_read);
    const uint8_t *byte = to;
    return byte[size - 1] == check_of(byte, size);
}

uint8_t record_newest(void *newest, uint8_t size, uint16_t at, uint8_t places, ee_read_t ee_read)
{
    uint8_t found[RECORD_MOST];
    uint8_t any = 0;
    memset(newest, 0, size);
    for (; places > 0; places--, at += size) {
        if (!record_get(found, size, at, ee_read)) {
            continue;
        }
        if (!any || (int16_t)(get_u16(found) - get_u16(newest)) > 0) {
            memcpy(newest, found, size);
            any = 1;
        }
    }
    return any;
}

void settings_defaults(settings_t *settings)
{
    CORE_ROM_COPY(&settings->board, &key_table_board.initial, sizeof settings->board);
    CORE_ROM_COPY(&settings->axis[0], &key_table_axis.initial, sizeof settings->axis[0]);
    settings->axis[1] = settings->axis[0];
}

/* STORE_LOADED when the slot is good, STORE_NOTHING when its format byte was never written. Gives its head. */
static uint8_t slot_state(uint8_t slot, head_t *head, ee_read_t ee_read)
{
    uint16_t at = slot_at(slot);
    read_bytes(head, sizeof *head, at, ee_read);
    if (head->format != STORE_FORMAT) {
        return head->format == STORE_BLANK ? STORE_NOTHING : STORE_DAMAGED;
    }
    uint16_t end = (uint16_t)(SLOT_DATA + head->board_size + 2u * head->axis_size);
    if (end > STORE_SLOT_SIZE) {
        return STORE_DAMAGED;
    }
    uint32_t crc = DIGEST_START;
    for (uint16_t i = SLOT_GENERATION; i < end; i++) {
        crc = digest_byte(crc, ee_read((uint16_t)(at + i)));
    }
    return head->crc == ~crc ? STORE_LOADED : STORE_DAMAGED;
}

/* Copies what both the slot and this firmware know. Returns where the next scope begins. */
static uint16_t read_scope(void *to, uint8_t known, uint16_t at, uint8_t stored, ee_read_t ee_read)
{
    read_bytes(to, stored < known ? stored : known, at, ee_read);
    return (uint16_t)(at + stored);
}

static void read_slot(settings_t *settings, uint8_t slot, const head_t *head, ee_read_t ee_read)
{
    uint16_t at = (uint16_t)(slot_at(slot) + SLOT_DATA);
    at = read_scope(&settings->board, sizeof settings->board, at, head->board_size, ee_read);
    at = read_scope(&settings->axis[0], sizeof settings->axis[0], at, head->axis_size, ee_read);
    read_scope(&settings->axis[1], sizeof settings->axis[1], at, head->axis_size, ee_read);
}

uint8_t store_load(store_t *store, settings_t *settings, ee_read_t ee_read)
{
    head_t head[2];
    uint8_t state_0 = slot_state(0, &head[0], ee_read);
    uint8_t state_1 = slot_state(1, &head[1], ee_read);
    memset(store, 0, sizeof *store);
    settings_defaults(settings);
    if (state_0 != STORE_LOADED && state_1 != STORE_LOADED) {
        store->slot = 1;                                    /* so that the first store goes to slot 0 */
        return state_0 == STORE_DAMAGED || state_1 == STORE_DAMAGED ? STORE_DAMAGED : STORE_NOTHING;
    }
    uint8_t newer_1 = (uint16_t)(head[1].generation - head[0].generation) < 0x8000u;
    store->slot = state_0 != STORE_LOADED || (state_1 == STORE_LOADED && newer_1);
    store->generation = head[store->slot].generation;
    read_slot(settings, store->slot, &head[store->slot], ee_read);
    store->digest = digest_of(settings, SETTINGS_COUNTED);
    return STORE_LOADED;
}

/* Of the slot that is being written; its CRC is good once all settings are. */
static head_t new_head(const store_t *store)
{
    return (head_t){STORE_FORMAT, ~store->crc, (uint16_t)(store->generation + 1), (uint8_t)sizeof(settings_board_t),
                    (uint8_t)sizeof(settings_axis_t)};
}

uint16_t store_begin(store_t *store)
{
    head_t head = new_head(store);
    store->writing = 1;
    store->place = SLOT_DATA;
    store->check_address = 0;
    store->crc = digest_more(DIGEST_START, (const uint8_t *)&head + SLOT_GENERATION, SLOT_DATA - SLOT_GENERATION);
    return head.generation;
}

static uint8_t store_end(store_t *store, const settings_t *settings, uint8_t good)
{
    store->writing = 0;
    if (!good) {
        return STORE_FAILED;
    }
    store->slot ^= 1;
    store->generation++;
    store->digest = digest_of(settings, SETTINGS_COUNTED);
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
        head_t head = new_head(store);
        byte = ((const uint8_t *)&head)[store->place];
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
