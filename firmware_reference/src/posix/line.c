#ifndef __AVR__

#include "line.h"

#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

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

void line_receive(size_t most)
{
    uint8_t bytes[LINE_AS_FAST_AS_IT_GOES];
    if (!(state_of_line() & POLLIN)) { return; }
    ssize_t got = read(line, bytes, most < sizeof bytes ? most : sizeof bytes);
    for (ssize_t n = 0; n < got; n++) { core_rx_byte(line_core, bytes[n]); }
}

void line_send(size_t most)
{
    uint8_t bytes[TX_SIZE];
    size_t size = 0;
    int16_t byte;
    while (size < most && size < sizeof bytes && (byte = core_tx_byte(line_core)) >= 0) {
        bytes[size++] = (uint8_t)byte;
    }
    if (size == 0 || state_of_line() & POLLHUP) { return; }     /* nobody has it open */
    if (write(line, bytes, size) < 0) { return; }               /* nobody reads */
}

#endif
