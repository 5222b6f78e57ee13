#include "handle_settings.h"

#include "bytes.h"
#include "digest.h"
#include "port.h"
#include "telemetry.h"

#define REPLY_BODY_ROOM (BODY_MAX - SETTINGS_GET_REPLY_ITEMS_AT)

static uint8_t begin(core_t *core, const call_t *call)
{
    core->noinit->box.fault = 0;
    core->noinit->box.count = 0;
    draft_begin(&core->draft, &core->live, call->body[DRAFT_BEGIN_SCOPE_AT]);
    return STATUS_OK;
}

static uint8_t set(core_t *core, call_t *call)
{
    uint8_t size = (uint8_t)(call->size - DRAFT_SET_ITEMS_AT);
    return draft_set(&core->draft, call->body + DRAFT_SET_ITEMS_AT, size, &call->detail);
}

static uint8_t check(core_t *core, call_t *call)
{
    uint8_t status = draft_check(&core->draft, &core->live, &call->detail);
    call->end = put_u32(call->end, draft_digest(&core->draft));
    telemetry_wait(core);
    return status;
}

static void apply(core_t *core, uint8_t scope)
{
    draft_commit(&core->draft, &core->live);
    core->live_changed = 1;
    if (scope != 0) {
        axis_settings_changed(&core->axis[scope - 1]);
        duty_settings_changed(&core->noinit->duty[scope - 1], &core->live.axis[scope - 1]);
    }
}

static uint8_t commit(core_t *core, call_t *call)
{
    uint8_t scope = core->draft.scope;
    if (scope == 0 ? !core_at_rest(core) : !axis_at_rest(&core->axis[scope - 1])) {
        return STATUS_IN_MOTION;
    }
    if (core->store.writing) {
        return STATUS_BUSY;
    }
    uint8_t status = check(core, call);
    if (status == STATUS_OK) {
        core->scope_digest[scope] = get_u32(call->end - 4);
        apply(core, scope);
    }
    return status;
}

static uint8_t discard(core_t *core)
{
    draft_drop(&core->draft);
    return STATUS_OK;
}

static uint8_t of_draft(core_t *core, call_t *call, uint8_t id)
{
    uint8_t scope = call->body[0];
    if (id == MSG_DRAFT_SET && (call->size - DRAFT_SET_ITEMS_AT) % DRAFT_ITEM_SIZE != 0) {
        return STATUS_MALFORMED;
    }
    if (scope >= SCOPES) {
        return handle_bad_value(call, 1);
    }
    if (id == MSG_DRAFT_BEGIN) {
        return begin(core, call);
    }
    if (core->draft.scope != scope) {
        return STATUS_NO_DRAFT;
    }
    switch (id) {
    case MSG_DRAFT_SET:
        return set(core, call);
    case MSG_DRAFT_CHECK:
        return check(core, call);
    case MSG_DRAFT_COMMIT:
        return commit(core, call);
    default:
        return discard(core);
    }
}

static uint8_t store(core_t *core, call_t *call)
{
    if (core->store.writing) {
        return STATUS_BUSY;
    }
    call->end = put_u16(call->end, store_begin(&core->store));
    return STATUS_OK;
}

static uint8_t get(core_t *core, call_t *call)
{
    uint8_t which = call->body[SETTINGS_GET_WHICH_AT];
    uint8_t scope = call->body[SETTINGS_GET_SCOPE_AT];
    if (which > WHICH_LAST) {
        return handle_bad_value(call, 1);
    }
    if (scope >= SCOPES) {
        return handle_bad_value(call, 2);
    }
    if (which == WHICH_DRAFT && core->draft.scope != scope) {
        return STATUS_NO_DRAFT;
    }
    const uint8_t *data = which == WHICH_DRAFT ? (const uint8_t *)core->draft.as : settings_scope(&core->live, scope);
    call->end = put_u8(call->end, scope);
    call->end = settings_items(data, scope, call->body[SETTINGS_GET_FIRST_KEY_AT], call->end, REPLY_BODY_ROOM);
    return STATUS_OK;
}

static uint8_t digests(core_t *core, call_t *call)
{
    uint8_t *at = put_u32(call->end, core_live_digest(core));
    at = put_u32(at, core->store.digest);
    at = put_bytes(at, core->scope_digest, sizeof core->scope_digest);
    call->end = put_u8(at, core->store.writing != 0);
    return STATUS_OK;
}

uint8_t handle_settings(core_t *core, call_t *call, uint8_t id)
{
    switch (id) {
    case MSG_STORE:
        return store(core, call);
    case MSG_SETTINGS_GET:
        return get(core, call);
    case MSG_DIGESTS:
        return digests(core, call);
    default:
        return of_draft(core, call, id);
    }
}
