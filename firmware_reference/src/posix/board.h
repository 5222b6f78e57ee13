/* The board: everything started once, then ticks for ever. */
#ifndef POSIX_BOARD_H
#define POSIX_BOARD_H

#include "reset.h"

/* Never returns but by starting anew, or by the end of the bench. */
void board_run(const start_t *start, noinit_t *record, uint8_t reset_flags, uint16_t nonce_seed)
    __attribute__((noreturn));

#endif
