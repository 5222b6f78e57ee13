/* What stands for pins: a socket to the machine, one fixed record each way per tick (PORTING.md has their layout).
 *
 * The board tells its outputs, the machine answers with what the converter saw under them. Without a machine
 * nothing is wired: every input reads 0. A machine that goes away takes the board with it.
 */
#ifndef POSIX_BENCH_H
#define POSIX_BENCH_H

#include <stdint.h>

#include "../core/core.h"
#include "adc.h"

#define BENCH_OUT_SIZE 12
#define BENCH_IN_SIZE 12
#define BENCH_NONE (-1)

#define BENCH_STARTS 0u             /* state of an outputs record: the program started; no tick yet */
#define BENCH_RUNS 1u               /* a tick has ended */
#define BENCH_ENDS 2u               /* the program starts anew: nothing drives the lines */

#define BENCH_RESET 1u              /* control bit of a readings record: the reset line is pulled */

typedef struct {
    conversions_t scan;
    uint8_t inputs;
    uint8_t control;
} bench_in_t;

void bench_start(int fd);           /* also tells BENCH_STARTS, with outputs off */

/* Of the one axis. */
void bench_tell(uint32_t tick, const outputs_t *out);

/* Outputs off, and BENCH_ENDS. Safe in a signal. */
void bench_off(void);

/* The next readings record, waited for; or the newest that has come, else what was there before. */
const bench_in_t *bench_wait(void);
const bench_in_t *bench_newest(void);

#endif
