/* What RAM keeps through a reset: why the board starts anew, the last boot nonce, duty, heat, totals and black box. */
#ifndef RODBENCH_NOINIT_H
#define RODBENCH_NOINIT_H

#include <stdint.h>

#include "draft.h"
#include "duty.h"
#include "thermal.h"

/* Reset flags, as the ATmega328P's MCUSR has them. */
#define RESET_FLAG_POWER_ON 1u
#define RESET_FLAG_EXTERNAL 2u
#define RESET_FLAG_BROWN_OUT 4u
#define RESET_FLAG_WATCHDOG 8u

/* Of one axis, laid out as the reply to `totals`. */
typedef struct __attribute__((packed)) {
    uint32_t on_s;
    uint32_t starts;
    uint32_t travel_mm;
} total_t;

typedef struct __attribute__((packed)) {
    uint16_t number;            /* that it will have when written */
    total_t axis[2];
    uint8_t spare;
    uint8_t check;
} totals_record_t;

typedef struct {
    totals_record_t now;
    uint16_t um[2];             /* low half of the position up to which travel is counted */
    uint16_t pause;             /* until they may be written again, of two ticks each */
    uint8_t ticks[2];           /* with output, less than a second */
    uint8_t changed;            /* since they were written */
} totals_t;

#define BOX_SAMPLES 30

/* Laid out as the items of `black_box`. */
typedef struct __attribute__((packed)) {
    uint16_t place_output;
    uint8_t current;
} sample_t;

/* Begins as the reply to `black_box`. */
typedef struct {
    uint8_t axis;               /* of the trip; 0: the board */
    uint8_t fault;              /* 0: not frozen */
    uint8_t count;
    uint8_t at;                 /* the next one's place */
    union {
        sample_t sample[BOX_SAMPLES][2];
        draft_values_t draft;           /* while one is open; count is 0 */
    };
} blackbox_t;

typedef struct {
    uint32_t magic;
    uint16_t nonce;             /* of this boot */
    uint16_t nonce_inverted;
    uint8_t mark;               /* RESET_CAUSE_ to report next time; RESET_CAUSE_UNKNOWN: nothing was marked */
    uint8_t credit;             /* 1: the time without power is not told yet, and nothing has moved since */
    totals_t totals;            /* before the long ones: within reach of one instruction */
    blackbox_t box;
    duty_t duty[2];
} noinit_t;

/* Takes the record up after a reset, or begins a new one. Returns RESET_CAUSE_; *kept tells whether the record
 * survived. The mark in the record goes first, then the flags where there are any (a bootloader may clear them).
 * A new boot nonce, other than the last one, is in the record afterwards; a record that did not is 0 but for that. */
uint8_t noinit_start(noinit_t *record, uint8_t reset_flags, uint16_t nonce_seed, uint8_t *kept);

/* All of the record is good now: the next reset may take it up. */
void noinit_complete(noinit_t *record);

/* The board is about to start anew, for this RESET_CAUSE_. Safe in an interrupt. */
void noinit_mark(noinit_t *record, uint8_t cause);

#endif
