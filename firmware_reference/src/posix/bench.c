#include "bench.h"

#include <errno.h>
#include <poll.h>
#include <stddef.h>
#include <stdlib.h>
#include <unistd.h>

#include "../core/bytes.h"
#include "../generated/schema.h"

static int bench = BENCH_NONE;
static bench_in_t latest;
static uint8_t part[BENCH_IN_SIZE]; /* of a record that has not come whole */
static size_t filled;
static const outputs_t nothing = { .bridge = { BRIDGE_OFF } };

/* A record is far smaller than any socket's buffer: it is written whole, or not at all where nobody takes any. */
static void send_record(uint32_t tick, const outputs_t *out, uint8_t state)
{
    uint8_t record[BENCH_OUT_SIZE] = { 0 };
    uint8_t *at = put_u32(record, tick);
    at = put_u16(at, (uint16_t)out->drive[0]);
    at = put_u8(at, out->bridge[0]);
    at = put_u8(at, out->driver[0]);
    at = put_u8(at, out->alarm);
    (void)put_u8(at, state);
    if (bench != BENCH_NONE && write(bench, record, sizeof record) < 0 && errno == EPIPE) { _exit(0); }
}

void bench_start(int fd)
{
    bench = fd;
    send_record(0, &nothing, BENCH_STARTS);
}

void bench_tell(uint32_t tick, const outputs_t *out)
{
    send_record(tick, out, BENCH_RUNS);
}

void bench_off(void)
{
    send_record(0, &nothing, BENCH_ENDS);
}

static void take(const uint8_t *record)
{
    for (size_t n = 0; n < ADC_POT_CONVERSIONS; n++) { latest.scan.pot[n] = get_u16(record + 2 * n); }
    latest.scan.current = get_u16(record + 4);
    latest.scan.supply = get_u16(record + 6);
    latest.scan.bandgap = get_u16(record + 8);
    latest.inputs = record[10];
    latest.control |= record[11];   /* a pull of the reset line is not missed */
}

/* Reads what there is of one record. Returns 1 when one became whole. */
static uint8_t read_some(void)
{
    ssize_t got = read(bench, part + filled, sizeof part - filled);
    if (got == 0 || (got < 0 && errno != EAGAIN && errno != EINTR)) { exit(0); }
    filled += got < 0 ? 0u : (size_t)got;
    if (filled < sizeof part) { return 0; }
    filled = 0;
    take(part);
    return 1;
}

static uint8_t is_waiting(void)
{
    struct pollfd watched = { .fd = bench, .events = POLLIN };
    return poll(&watched, 1, 0) > 0;
}

const bench_in_t *bench_wait(void)
{
    if (bench != BENCH_NONE) {
        while (!read_some()) { }
    }
    return &latest;
}

const bench_in_t *bench_newest(void)
{
    while (bench != BENCH_NONE && is_waiting()) { (void)read_some(); }
    return &latest;
}
