#include "blackbox.h"

#include "bytes.h"
#include "port.h"

#define ITEMS_MOST ((BODY_MAX - BLACK_BOX_REPLY_ITEMS_AT) / BLACK_BOX_REPLY_ITEMS_ITEM_SIZE)

_Static_assert(sizeof(sample_t) == BLACK_BOX_REPLY_ITEMS_ITEM_SIZE, "sample_t is laid out as its item");

static CORE_ONCE void take(sample_t *sample, const axis_t *axis)
{
    int16_t current = axis->current_ma < 0 ? 0 : (int16_t)(axis->current_ma >> 6);
    sample->place_output = (uint16_t)((axis->raw & 0x1FF8u) * 8 + 32 + (uint16_t)(axis->output_permille >> 5));
    sample->current = (uint8_t)(current > UINT8_MAX ? UINT8_MAX : current);
}

void blackbox_tick(core_t *core)
{
    blackbox_t *box = &core->noinit->box;
    if (box->fault != 0 || (core->tick & 1) != 0 || core->draft.scope != DRAFT_NONE) {
        return;
    }
    if (box->at >= BOX_SAMPLES) {
        box->at = 0;
    }
    sample_t *sample = box->sample[box->at++];
    take(sample, &core->axis[0]);
    take(sample + 1, &core->axis[1]);
    if (box->count < BOX_SAMPLES) {
        box->count++;
    }
}

void blackbox_freeze(blackbox_t *box, uint8_t axis, uint8_t fault)
{
    if (box->fault == 0) {
        box->axis = axis;
        box->fault = fault;
    }
}

void blackbox_motion(core_t *core)
{
    blackbox_t *box = &core->noinit->box;
    if (box->fault != 0 && !core_faulted(core)) {
        box->fault = 0;
        box->count = 0;
    }
}

/* Within the samples, whatever RAM has kept. */
uint8_t *blackbox_items(const blackbox_t *box, uint8_t index, uint8_t first, uint8_t *to)
{
    uint8_t at = (uint8_t)(box->at + BOX_SAMPLES - box->count + first);
    for (uint8_t left = ITEMS_MOST; left > 0 && first < box->count; left--, first++, at++) {
        to = put_bytes(to, &box->sample[at % BOX_SAMPLES][index], sizeof(sample_t));
    }
    return to;
}
