#include "duty.h"

#include "div.h"
#include "frame.h"
#include "port.h"

#define TICKS_PER_S 200

static uint16_t bin_ticks_of(const settings_axis_t *set)
{
    return (uint16_t)div_up((uint32_t)set->duty_window_s * TICKS_PER_S, DUTY_FULL_BINS);
}

static uint16_t copy_check(const duty_copy_t *copy)
{
    return frame_crc(copy, offsetof(duty_copy_t, check));
}

/* The copy in force, once duty_resume or duty_fresh has run; of two equal ones the first. */
static CORE_ONCE uint8_t newer(const duty_t *duty)
{
    return duty->copy[1].turn == (uint8_t)(duty->copy[0].turn + 1);
}

static CORE_ONCE const duty_copy_t *current(const duty_t *duty)
{
    return &duty->copy[newer(duty)];
}

/* Last of a change to a copy: until then its check is wrong. */
static void seal(duty_copy_t *copy)
{
    CORE_IN_ORDER();
    copy->check = copy_check(copy);
}

static void spoil(duty_copy_t *copy)
{
    copy->check = (uint16_t)~copy_check(copy);
    CORE_IN_ORDER();
}

/* The full bins hold `used` ticks, all of them in the newest but `skip`, and the bin under way is empty. Both copies are
 * invalid until the bins are done; the older first: the newer stays good until then. */
static void fill(duty_t *duty, uint16_t bin_ticks, uint32_t used, uint32_t total, uint16_t skip)
{
    uint8_t which = newer(duty);
    duty_copy_t *copy = duty->copy;
    spoil(&copy[which ^ 1]);
    spoil(&copy[which]);
    copy->sum = 0;
    for (uint8_t slot = DUTY_FULL_BINS; slot-- > 0;) {
        uint16_t part = used > bin_ticks ? bin_ticks : (uint16_t)used;
        if (skip != 0) {
            skip--;
            part = 0;
        }
        duty->bin[slot] = part;
        used -= part;
        copy->sum += part;
    }
    copy->total = total;
    copy->bin_ticks = bin_ticks;
    copy->elapsed = 0;
    copy->count = 0;
    copy->slot = DUTY_FULL_BINS;
    seal(copy);
    copy[1] = copy[0];
}

static uint8_t copy_valid(const duty_t *duty, uint8_t which)
{
    const duty_copy_t *copy = &duty->copy[which];
    if (copy->check != copy_check(copy) || copy->slot >= DUTY_SLOTS) {
        return 0;
    }
    uint32_t sum = 0;
    for (uint8_t slot = 0; slot < DUTY_SLOTS; slot++) {
        sum += slot == copy->slot ? 0u : duty->bin[slot];
    }
    return sum == copy->sum;
}

void duty_begin(duty_t *duty, const settings_axis_t *set, uint32_t used, uint16_t off_s)
{
    uint16_t bin_ticks = bin_ticks_of(set);
    uint16_t bins = (uint16_t)((uint32_t)off_s * TICKS_PER_S / bin_ticks);
    fill(duty, bin_ticks, used, used != 0 ? DUTY_UNKNOWN : 0, bins);
}

void duty_resume(duty_t *duty, const settings_axis_t *set)
{
    uint8_t valid_0 = copy_valid(duty, 0);
    uint8_t valid_1 = copy_valid(duty, 1);
    if (!valid_0 && !valid_1) {
        duty_begin(duty, set, DUTY_UNKNOWN, 0);
        return;
    }
    uint8_t good = valid_0 && valid_1 ? newer(duty) : valid_1;
    duty->copy[good ^ 1] = duty->copy[good];
    duty_settings_changed(duty, set);
}

void duty_settings_changed(duty_t *duty, const settings_axis_t *set)
{
    uint16_t bin_ticks = bin_ticks_of(set);
    const duty_copy_t *now = current(duty);
    if (bin_ticks != now->bin_ticks) {
        fill(duty, bin_ticks, bin_ticks > now->bin_ticks ? now->total : duty_used(duty), now->total, 0);
    }
}

static uint8_t next_slot(uint8_t slot)
{
    return slot == DUTY_FULL_BINS ? 0 : (uint8_t)(slot + 1);
}

void duty_tick(duty_t *duty, uint8_t on)
{
    uint8_t which = newer(duty);
    duty_copy_t *next = &duty->copy[which ^ 1];
    *next = duty->copy[which];
    next->turn--;                               /* behind the other's until all else is written */
    CORE_IN_ORDER();
    next->elapsed++;
    if (on) {
        next->count++;
        next->total += next->total != DUTY_UNKNOWN;
    }
    if (next->elapsed >= next->bin_ticks) {
        duty->bin[next->slot] = next->count;
        next->slot = next_slot(next->slot);
        next->sum = next->sum + next->count - duty->bin[next->slot];
        next->elapsed = 0;
        next->count = 0;
    }
    CORE_IN_ORDER();
    next->turn = (uint8_t)(next->turn + 2);
    seal(next);
}

uint32_t duty_budget(const settings_axis_t *set)
{
    return (uint32_t)set->duty_window_s * set->duty_share_permille / (1000 / TICKS_PER_S);
}

uint32_t duty_used(const duty_t *duty)
{
    const duty_copy_t *now = current(duty);
    return now->sum + now->count;
}

uint32_t duty_room(const duty_t *duty, const settings_axis_t *set)
{
    uint32_t budget = duty_budget(set);
    uint32_t used = duty_used(duty);
    return used < budget ? budget - used : 0;
}

uint32_t duty_wait(const duty_t *duty, uint32_t most)
{
    const duty_copy_t *now = current(duty);
    uint32_t used = now->sum + now->count;
    uint8_t slot = now->slot;
    uint8_t bins = 0;
    for (; used > most; bins++) {
        slot = next_slot(slot);
        used -= slot == now->slot ? now->count : duty->bin[slot];
    }
    return bins == 0 ? 0 : (uint32_t)bins * now->bin_ticks - now->elapsed;
}

uint16_t duty_used_permille(const duty_t *duty, const settings_axis_t *set)
{
    uint32_t budget = duty_budget(set);
    uint32_t used = duty_used(duty);
    return (uint16_t)(used >= budget ? 1000u : used * 1000u / budget);
}

uint32_t duty_total(const duty_t *duty)
{
    return current(duty)->total;
}
