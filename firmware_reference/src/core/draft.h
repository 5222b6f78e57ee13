/* Drafts of settings, one scope at a time, and settings by their keys. */
#ifndef RODBENCH_DRAFT_H
#define RODBENCH_DRAFT_H

#include <stdint.h>

#include "store.h"

#define SCOPES (1u + CORE_BOARD_AXES)   /* 0 the board, 1 and 2 the axes */
#define DRAFT_NONE 0xFF
#define DRAFT_ITEM_SIZE DRAFT_SET_ITEMS_ITEM_SIZE

typedef union {
    settings_board_t board;
    settings_axis_t axis;
} draft_values_t;

/* The values lie where the black box has its samples: there is no room for both. */
typedef struct {
    uint8_t scope;                      /* DRAFT_NONE: no draft */
    draft_values_t *as;
} draft_t;

uint8_t *settings_scope(settings_t *settings, uint8_t scope);
uint16_t settings_scope_size(uint8_t scope);

/* Ranges and cross rules of all scopes. */
uint8_t settings_good(const settings_t *settings);

/* Key and value pairs from first_key on, as they go over the wire, at most `room` bytes. Returns their end. */
uint8_t *settings_items(const uint8_t *scope_data, uint8_t scope, uint8_t first_key, uint8_t *to, uint8_t room);

void draft_drop(draft_t *draft);
void draft_begin(draft_t *draft, settings_t *live, uint8_t scope);

/* All items or none. STATUS_...; *detail is the key at fault. */
uint8_t draft_set(draft_t *draft, const uint8_t *items, uint8_t size, uint16_t *detail);

/* STATUS_OK, or STATUS_CROSS_RULE with rule and key. */
uint8_t draft_check(const draft_t *draft, settings_t *live, uint16_t *detail);

uint32_t draft_digest(const draft_t *draft);
void draft_commit(draft_t *draft, settings_t *live);

#endif
