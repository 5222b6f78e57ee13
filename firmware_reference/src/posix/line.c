#include "line.h"

#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#define WAITING 4096u
#define BATCH 20u                   /* heard within a millisecond, also when that is a little short */

static core_t *line_core;
static int line = -1;

static int make_raw(const char *name)
{
    struct termios mode;
    int host = open(name, O_RDWR | O_NOCTTY);
    if (host < 0) { return -1; }
    int bad = tcgetattr(host, &mode);
    mode.c_iflag = 0;
    mode.c_oflag = 0;
    mode.c_lflag = 0;
    mode.c_cflag = CS8 | CREAD | CLOCAL;
    bad = bad || tcsetattr(host, TCSANOW, &mode);
    (void)close(host);
    return bad ? -1 : 0;
}

int line_open_pty(char *name, size_t size)
{
    int fd = posix_openpt(O_RDWR | O_NOCTTY);
    if (fd < 0 || grantpt(fd) || unlockpt(fd)) { return -1; }
    (void)snprintf(name, size, "%s", ptsname(fd));
    return make_raw(name) ? -1 : fd;
}

void line_start(core_t *core, int fd)
{
    line_core = core;
    line = fd;
    (void)fcntl(line, F_SETFL, fcntl(line, F_GETFL) | O_NONBLOCK);
}

static short state_of_line(void)
{
    struct pollfd watched = { .fd = line, .events = POLLIN };
    return poll(&watched, 1, 0) > 0 ? watched.revents : 0;
}

static size_t read_up_to(uint8_t *bytes, size_t most)
{
    if (!(state_of_line() & POLLIN)) { return 0; }
    ssize_t got = read(line, bytes, most);
    return got < 0 ? 0 : (size_t)got;
}

static void hear(const uint8_t *bytes, size_t size)
{
    for (size_t n = 0; n < size; n++) { core_rx_byte(line_core, bytes[n]); }
}

static void put(const uint8_t *bytes, size_t size)
{
    if (size == 0 || state_of_line() & POLLHUP) { return; }     /* nobody has it open */
    if (write(line, bytes, size) < 0) { return; }               /* nobody reads */
}

/* What the core has to send, behind what waits here. More than there is room for stays in the core. */
static size_t collect(uint8_t *bytes, size_t filled, size_t room)
{
    int16_t byte;
    while (filled < room && (byte = core_tx_byte(line_core)) >= 0) { bytes[filled++] = (uint8_t)byte; }
    return filled;
}

void line_receive(void)
{
    uint8_t bytes[WAITING];
    hear(bytes, read_up_to(bytes, sizeof bytes));
}

void line_send(void)
{
    uint8_t bytes[WAITING];
    put(bytes, collect(bytes, 0, sizeof bytes));
}

/* Nobody tells when a byte was written: it counts as begun when it is seen, and is heard once it would be whole. */
void line_receive_by(uint32_t now_us)
{
    static uint8_t held[BATCH];
    static size_t size;
    static uint32_t whole_us;
    if (size != 0 && (int32_t)(now_us - whole_us) < 0) { return; }
    hear(held, size);
    size = read_up_to(held, sizeof held);
    whole_us = now_us + (uint32_t)size * LINE_BYTE_US;
}

void line_send_by(uint32_t now_us)
{
    static uint8_t waiting[WAITING];
    static size_t size;
    static uint32_t free_us;                    /* when the last byte had gone out */
    if (size == 0) { free_us = now_us; }        /* idle time is not saved up */
    size = collect(waiting, size, sizeof waiting);
    size_t gone = (now_us - free_us) / LINE_BYTE_US;
    gone = gone < size ? gone : size;
    put(waiting, gone);
    free_us += (uint32_t)gone * LINE_BYTE_US;
    size -= gone;
    memmove(waiting, waiting + gone, size);
}
