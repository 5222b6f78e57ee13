/* What RAM keeps through a reset: why the board starts anew, the last boot nonce, and the duty records. */
#ifndef RODBENCH_NOINIT_H
#define RODBENCH_NOINIT_H

#include <stdint.h>

#include "duty.h"

/* Reset flags, as the ATmega328P's MCUSR has them. */
#define RESET_FLAG_POWER_ON 1u
#define RESET_FLAG_EXTERNAL 2u
#define RESET_FLAG_BROWN_OUT 4u
#define RESET_FLAG_WATCHDOG 8u

typedef struct {
    uint32_t magic;
    uint16_t nonce;             /* of this boot */
    uint16_t nonce_inverted;
    uint8_t mark;               /* RESET_CAUSE_ to report next time; RESET_CAUSE_UNKNOWN: nothing was marked */
    duty_t duty[2];
} noinit_t;

/* Takes the record up after a reset, or begins a new one. Returns RESET_CAUSE_; *kept tells whether the record
 * survived. The mark in the record goes first, then the flags where there are any (a bootloader may clear them).
 * A new boot nonce, other than the last one, is in the record afterwards. */
uint8_t noinit_start(noinit_t *record, uint8_t reset_flags, uint16_t nonce_seed, uint8_t *kept);

/* All of the record is good now: the next reset may take it up. */
void noinit_complete(noinit_t *record);

/* The board is about to start anew, for this RESET_CAUSE_. Safe in an interrupt. */
void noinit_mark(noinit_t *record, uint8_t cause);

#endif
