#include "draft.h"

#include "bytes.h"
#include "digest.h"
#include "port.h"

uint8_t *settings_scope(settings_t *settings, uint8_t scope)
{
    CORE_ASSERT(scope < SCOPES);
    return scope == 0 ? (uint8_t *)&settings->board : (uint8_t *)&settings->axis[scope - 1];
}

uint16_t settings_scope_size(uint8_t scope)
{
    return scope == 0 ? sizeof(settings_board_t) : sizeof(settings_axis_t);
}

static uint8_t entry_at(uint8_t scope, uint8_t index, setting_entry_t *entry)
{
    if (index >= (scope == 0 ? SETTINGS_BOARD_ENTRIES : SETTINGS_AXIS_ENTRIES)) {
        return 0;
    }
    CORE_ROM_COPY(entry, scope == 0 ? &setting_entries_board[index] : &setting_entries_axis[index], sizeof *entry);
    return 1;
}

/* Entries are in order and each has at least one key, so that none lies behind place key - 1. */
static uint8_t entry_of_key(uint8_t scope, uint8_t key, setting_entry_t *entry)
{
    uint8_t index = scope == 0 ? SETTINGS_BOARD_ENTRIES : SETTINGS_AXIS_ENTRIES;
    for (index = key < index ? key : index; index > 0; index--) {
        entry_at(scope, (uint8_t)(index - 1), entry);
        if (key >= entry->key) {
            return key - entry->key < entry->count;
        }
    }
    return 0;
}

/* Where a key of the entry lies in its scope. */
static uint8_t offset_of(const setting_entry_t *entry, uint8_t key)
{
    return (uint8_t)(entry->offset + (uint8_t)(key - entry->key) * entry->width);
}

/* Signed keys are four bytes wide (the generator sees to it), so nothing needs its sign spread. */
static int32_t value_at(const setting_entry_t *entry, const uint8_t *at)
{
    int32_t value = 0;
    memcpy(&value, at, entry->width);
    return value;
}

static uint8_t in_range(const setting_entry_t *entry, int32_t value)
{
    return value >= entry->min && value <= entry->max;
}

static uint8_t scope_in_range(const uint8_t *data, uint8_t scope)
{
    setting_entry_t entry;
    for (uint8_t index = 0; entry_at(scope, index, &entry); index++) {
        for (uint8_t n = 0; n < entry.count; n++) {
            if (!in_range(&entry, value_at(&entry, data + entry.offset + n * entry.width))) {
                return 0;
            }
        }
    }
    return 1;
}

uint8_t settings_good(const settings_t *settings)
{
    for (uint8_t axis = 0; axis < 2; axis++) {
        const settings_axis_t *set = &settings->axis[axis];
        if (!scope_in_range((const uint8_t *)set, (uint8_t)(axis + 1)) || rule_check_axis(set) != 0 ||
            peer_check_axis((uint8_t)(axis + 1), &settings->axis[1 - axis], set) != 0) {
            return 0;
        }
    }
    return scope_in_range((const uint8_t *)&settings->board, 0) && rule_check_board(&settings->board) == 0;
}

uint8_t *settings_items(const uint8_t *scope_data, uint8_t scope, uint8_t first_key, uint8_t *to, uint8_t room)
{
    setting_entry_t entry;
    uint8_t *end = to + room / DRAFT_ITEM_SIZE * DRAFT_ITEM_SIZE;
    for (uint8_t index = 0; entry_at(scope, index, &entry); index++) {
        for (uint8_t key = entry.key; key < entry.key + entry.count && to < end; key++) {
            if (key >= first_key) {
                to = put_u8(to, key);
                to = put_u32(to, (uint32_t)value_at(&entry, scope_data + offset_of(&entry, key)));
            }
        }
    }
    return to;
}

void draft_drop(draft_t *draft)
{
    draft->scope = DRAFT_NONE;
}

void draft_begin(draft_t *draft, settings_t *live, uint8_t scope)
{
    draft->scope = scope;
    memcpy(draft->as, settings_scope(live, scope), settings_scope_size(scope));
}

static uint8_t item_status(uint8_t scope, const uint8_t *item)
{
    setting_entry_t entry;
    if (!entry_of_key(scope, item[0], &entry)) {
        return STATUS_UNKNOWN_SETTING;
    }
    return in_range(&entry, (int32_t)get_u32(item + 1)) ? STATUS_OK : STATUS_SETTING_RANGE;
}

static void item_apply(draft_t *draft, const uint8_t *item)
{
    setting_entry_t entry;
    entry_of_key(draft->scope, item[0], &entry);
    memcpy((uint8_t *)draft->as + offset_of(&entry, item[0]), item + 1, entry.width);
}

uint8_t draft_set(draft_t *draft, const uint8_t *items, uint8_t size, uint16_t *detail)
{
    for (uint8_t at = 0; at < size; at = (uint8_t)(at + DRAFT_ITEM_SIZE)) {
        uint8_t status = item_status(draft->scope, items + at);
        if (status != STATUS_OK) {
            *detail = items[at];
            return status;
        }
    }
    for (uint8_t at = 0; at < size; at = (uint8_t)(at + DRAFT_ITEM_SIZE)) {
        item_apply(draft, items + at);
    }
    return STATUS_OK;
}

uint8_t draft_check(const draft_t *draft, const settings_t *live, uint16_t *detail)
{
    uint16_t broken;
    if (draft->scope == 0) {
        broken = rule_check_board(&draft->as->board);
        broken = broken ? broken : change_check_board(&live->board, &draft->as->board);
    } else {
        broken = rule_check_axis(&draft->as->axis);
        broken = broken ? broken : change_check_axis(&live->axis[draft->scope - 1], &draft->as->axis);
        broken = broken ? broken : peer_check_axis(draft->scope, &live->axis[2 - draft->scope], &draft->as->axis);
    }
    *detail = broken;
    return broken ? STATUS_CROSS_RULE : STATUS_OK;
}

uint32_t draft_digest(const draft_t *draft)
{
    return digest_of(draft->as, settings_scope_size(draft->scope));
}

void draft_commit(draft_t *draft, settings_t *live)
{
    memcpy(settings_scope(live, draft->scope), draft->as, settings_scope_size(draft->scope));
    draft_drop(draft);
}
