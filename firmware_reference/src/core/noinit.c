#include "noinit.h"

#include "port.h"

#define MAGIC UINT32_C(0x524F4404)      /* changes whenever noinit_t does */

static uint8_t cause_of_flags(uint8_t flags, uint8_t kept)
{
    if (flags & RESET_FLAG_POWER_ON) {
        return RESET_CAUSE_POWER_ON;
    }
    if (flags & RESET_FLAG_BROWN_OUT) {
        return RESET_CAUSE_BROWN_OUT;
    }
    if (flags & RESET_FLAG_WATCHDOG) {
        return RESET_CAUSE_WATCHDOG;
    }
    /* A kept record without any flag: RAM lived and nobody marked it, so it was the reset line. */
    return (flags & RESET_FLAG_EXTERNAL) || kept ? RESET_CAUSE_EXTERNAL : RESET_CAUSE_UNKNOWN;
}

uint8_t noinit_start(noinit_t *record, uint8_t reset_flags, uint16_t nonce_seed, uint8_t *kept)
{
    uint8_t cause;
    *kept = record->magic == MAGIC && (record->nonce ^ record->nonce_inverted) == 0xFFFFu;
    if (*kept && record->mark != RESET_CAUSE_UNKNOWN && record->mark <= RESET_CAUSE_LAST) {
        cause = record->mark;
    } else {
        cause = cause_of_flags(reset_flags, *kept);
    }
    uint16_t nonce = nonce_seed;
    if (*kept) {
        nonce = (uint16_t)(record->nonce + (nonce_seed == 0xFFFF ? 1 : nonce_seed + 1));    /* never by 0 */
    } else {
        memset(record, 0, sizeof *record);
    }
    record->nonce = nonce;
    record->nonce_inverted = (uint16_t)~nonce;
    record->mark = RESET_CAUSE_UNKNOWN;
    return cause;
}

void noinit_mark(noinit_t *record, uint8_t cause)
{
    record->mark = cause;
}

void noinit_complete(noinit_t *record)
{
    ((volatile noinit_t *)record)->magic = MAGIC;
}
