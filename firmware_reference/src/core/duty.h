/* Duty budget: on-time within a rolling window never exceeds its share.
 *
 * The window is cut into 30 bins; 30 full ones and the one under way are counted, so that every span as long as the
 * window is covered. The record lies in RAM that a reset keeps and survives a reset at any instruction: what changes
 * in each tick is written to the older of two checked copies, and a full bin is written to a slot that no valid copy
 * counts yet. Ticks are counted before the output of that tick goes out. Time in reset earns nothing.
 */
#ifndef RODBENCH_DUTY_H
#define RODBENCH_DUTY_H

#include <stdint.h>

#include "../generated/schema.h"

#define DUTY_FULL_BINS 30
#define DUTY_SLOTS (DUTY_FULL_BINS + 1)
#define DUTY_UNKNOWN UINT32_MAX

typedef struct {
    uint32_t sum;               /* ticks with output in the full bins */
    uint32_t total;             /* ticks with output since the record began; DUTY_UNKNOWN: not known */
    uint16_t bin_ticks;         /* length of a bin */
    uint16_t elapsed;           /* of the bin under way */
    uint16_t count;             /* ticks with output in it */
    uint8_t slot;               /* that it will take; the other 30 hold the full bins */
    uint8_t turn;               /* the newer copy has the older's turn plus one */
    uint16_t check;
} duty_copy_t;

typedef struct {
    uint32_t heat;              /* of the thermal estimate */
    duty_copy_t copy[2];
    volatile uint16_t bin[DUTY_SLOTS];
} duty_t;

/* A new record: so much was spent until so long ago. Unless it is 0, nobody knows how much in all. */
void duty_begin(duty_t *duty, const settings_axis_t *set, uint32_t used, uint16_t off_s);

/* At start: takes up a kept record. One that has no valid copy counts as all spent. */
void duty_resume(duty_t *duty, const settings_axis_t *set);

/* The window may have changed. All on-time still counted is put into the newest bins, as if it had just been spent;
 * for a longer window that is all on-time since the record began. A reset half way leaves all spent. */
void duty_settings_changed(duty_t *duty, const settings_axis_t *set);

void duty_tick(duty_t *duty, uint8_t on);

uint32_t duty_budget(const settings_axis_t *set);                       /* ticks per window */
uint32_t duty_used(const duty_t *duty);
uint32_t duty_room(const duty_t *duty, const settings_axis_t *set);     /* ticks that may be spent now */
uint32_t duty_wait(const duty_t *duty, uint32_t most);                  /* ticks at rest until no more is used */
uint16_t duty_used_permille(const duty_t *duty, const settings_axis_t *set);
uint32_t duty_total(const duty_t *duty);

#endif
