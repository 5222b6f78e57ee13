#include "draft.h"

#include "bytes.h"
#include "digest.h"
#include "key.h"
#include "port.h"
#include "rule.h"

uint8_t *settings_scope(settings_t *settings, uint8_t scope)
{
    CORE_ASSERT(scope < SCOPES);
    return scope == 0 ? (uint8_t *)&settings->board : (uint8_t *)&settings->axis[scope - 1];
}

uint16_t settings_scope_size(uint8_t scope)
{
    return scope == 0 ? sizeof(settings_board_t) : sizeof(settings_axis_t);
}

static uint8_t scope_in_range(const void *data, uint8_t scope)
{
    for (uint8_t key = key_last(scope); key > 0; key--) {
        if (!key_allows(scope, key, key_value(scope, key, data))) {
            return 0;
        }
    }
    return 1;
}

uint8_t settings_good(const settings_t *settings)
{
    const settings_board_t *board = &settings->board;
    for (uint8_t axis = 0; axis < 2; axis++) {
        const settings_axis_t *set = &settings->axis[axis];
        if (!scope_in_range(set, 1) || rule_broken((uint8_t)(axis + 1), set, set, &settings->axis[1 - axis]) != 0) {
            return 0;
        }
    }
    return scope_in_range(board, 0) && rule_broken(0, board, board, board) == 0;
}

uint8_t *settings_items(const uint8_t *scope_data, uint8_t scope, uint8_t first_key, uint8_t *to, uint8_t room)
{
    for (uint8_t key = first_key > 0 ? first_key : 1; key <= key_last(scope) && room >= DRAFT_ITEM_SIZE; key++) {
        to = put_u8(to, key);
        to = put_u32(to, (uint32_t)key_value(scope, key, scope_data));
        room = (uint8_t)(room - DRAFT_ITEM_SIZE);
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
    if (item[0] == 0 || item[0] > key_last(scope)) {
        return STATUS_UNKNOWN_SETTING;
    }
    return key_allows(scope, item[0], (int32_t)get_u32(item + 1)) ? STATUS_OK : STATUS_SETTING_RANGE;
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
    for (; size > 0; size = (uint8_t)(size - DRAFT_ITEM_SIZE), items += DRAFT_ITEM_SIZE) {
        memcpy((uint8_t *)draft->as + key_at(draft->scope, items[0]), items + 1, key_width(draft->scope, items[0]));
    }
    return STATUS_OK;
}

uint8_t draft_check(const draft_t *draft, settings_t *live, uint16_t *detail)
{
    uint8_t scope = draft->scope;
    *detail = rule_broken(scope, draft->as, settings_scope(live, scope), &live->axis[2 - scope]);
    return *detail ? STATUS_CROSS_RULE : STATUS_OK;
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
