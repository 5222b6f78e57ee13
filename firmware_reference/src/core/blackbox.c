#include "blackbox.h"

#include "bytes.h"
#include "number.h"
#include "port.h"

#define EVERY 2                         /* ticks */

_Static_assert(sizeof(sample_t) == BLACK_BOX_REPLY_ITEMS_ITEM_SIZE, "sample_t is laid out as its item");

void blackbox_start(core_t *core, uint8_t kept)
{
    if (!kept) {
        memset(&core->noinit->box, 0, sizeof core->noinit->box);
    }
}

static void take(sample_t *sample, const axis_t *axis)
{
    sample->place_output = (uint16_t)(((axis->raw & ~7u) << 3) | (uint16_t)((axis->output_permille >> 5) + 32));
    sample->current = (uint8_t)between(axis->current_ma >> 6, 0, UINT8_MAX);
}

static uint8_t begins(const axis_t *axis)
{
    return axis->on_ticks == 1 && axis->output_permille != 0;
}

void blackbox_tick(core_t *core)
{
    blackbox_t *box = &core->noinit->box;
    const axis_t *axis = core->axis;
    if (box->fault != 0 && (begins(&axis[0]) || begins(&axis[1])) && !core_faulted(core)) {
        box->fault = 0;
        box->count = 0;
    }
    if (box->fault != 0 || core->tick % EVERY != 0) {
        return;
    }
    if (box->at >= BOX_SAMPLES) {
        box->at = 0;
    }
    take(&box->sample[0][box->at], &axis[0]);
    take(&box->sample[1][box->at], &axis[1]);
    box->at++;
    if (box->count < BOX_SAMPLES) {
        box->count++;
    }
}

void blackbox_freeze(core_t *core, uint8_t axis, uint8_t fault)
{
    blackbox_t *box = &core->noinit->box;
    if (box->fault == 0) {
        box->axis = axis;
        box->fault = fault;
    }
}

uint8_t *blackbox_items(const blackbox_t *box, uint8_t index, uint8_t first, uint8_t *to, const uint8_t *end)
{
    for (; first < box->count && to + sizeof(sample_t) <= end; first++) {
        uint8_t at = (uint8_t)(box->at + BOX_SAMPLES - box->count + first);
        to = put_bytes(to, &box->sample[index][at % BOX_SAMPLES], sizeof(sample_t));
    }
    return to;
}
