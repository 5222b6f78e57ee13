#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#include "bench.h"
#include "board.h"
#include "line.h"
#include "memory.h"

static const char USAGE[] =
    "usage: PATH/rodbench-posix --eeprom FILE [options]\n"
    "  --eeprom FILE   what stands for the EEPROM, 1024 bytes; made when it is not there\n"
    "  --line FD       the serial line, inherited; without it a new pty, named on standard output\n"
    "  --bench FD      the socket to the machine (PORTING.md), inherited; without it every input reads 0\n"
    "  --lockstep      a tick for each record of the bench, instead of 200 a second\n"
    "  --record FILE   keep the RAM that a reset does not clear in a file: then it outlives a kill too\n"
    "  --seed N        of the boot nonce, 1 to 65535; without it drawn by chance at each start\n";

typedef struct {
    start_t start;
    const char *record;
    int again;                      /* descriptor of the record, from the start before; -1: the power came on */
} options_t;

static void fail(const char *what, const char *why)
{
    fprintf(stderr, "error: %s: %s\n", what, why);
    exit(1);
}

static const char *reason(void)
{
    return errno == 0 ? "not 1024 bytes long" : strerror(errno);
}

static int number(const char *word)
{
    char *end;
    long value = strtol(word, &end, 10);
    if (*word == '\0' || *end != '\0' || value < -1 || value > UINT16_MAX) { fail(word, "not a number from 0 to 65535"); }
    return (int)value;
}

static void take(options_t *options, const char *name, const char *word)
{
    start_t *start = &options->start;
    if (!strcmp(name, "--eeprom")) {
        start->eeprom = word;
    } else if (!strcmp(name, "--line")) {
        start->line = number(word);
    } else if (!strcmp(name, "--bench")) {
        start->bench = number(word);
    } else if (!strcmp(name, "--record")) {
        options->record = word;
    } else if (!strcmp(name, "--seed")) {
        start->seed = (uint16_t)number(word);
    } else if (!strcmp(name, "--again")) {
        options->again = number(word);
    } else {
        fail(name, USAGE);
    }
}

static options_t read_options(int count, char **words)
{
    options_t options = { .start = { .program = words[0], .line = -1, .bench = BENCH_NONE }, .again = -1 };
    for (int n = 1; n < count; n++) {
        if (!strcmp(words[n], "--lockstep")) {
            options.start.lockstep = 1;
        } else if (n + 1 < count) {
            take(&options, words[n], words[n + 1]);
            n++;
        } else {
            fail(words[n], USAGE);
        }
    }
    if (options.start.eeprom == NULL) { fail("no --eeprom", USAGE); }
    if (options.start.lockstep && options.start.bench == BENCH_NONE) { fail("--lockstep", "needs a --bench that leads"); }
    return options;
}

/* To start anew the program must be found again from anywhere. */
static const char *whole_path(const char *program)
{
    static char path[PATH_MAX];
    if (strchr(program, '/') == NULL || realpath(program, path) == NULL) { fail(program, "start it by its path"); }
    return path;
}

static int own_line(void)
{
    char name[64];
    int fd = line_open_pty(name, sizeof name);
    if (fd < 0) { fail("no pty", strerror(errno)); }
    printf("{\"listens\": \"%s\", \"board\": \"posix-3v3\"}\n", name);
    (void)fflush(stdout);
    return fd;
}

static uint16_t seed(uint16_t given)
{
    uint16_t drawn = given;
    if (given == 0 && getrandom(&drawn, sizeof drawn, 0) != (ssize_t)sizeof drawn) { fail("no random number", strerror(errno)); }
    return drawn;
}

int main(int count, char **words)
{
    options_t options = read_options(count, words);
    start_t *start = &options.start;
    uint8_t first = options.again < 0;
    (void)signal(SIGPIPE, SIG_IGN);
    start->program = whole_path(words[0]);
    if (eeprom_open(start->eeprom)) { fail(start->eeprom, reason()); }
    start->record = first ? record_open(options.record) : options.again;
    noinit_t *record = start->record < 0 ? NULL : record_map(start->record);
    if (record == NULL) { fail("the record", strerror(errno)); }
    if (start->line < 0) { start->line = own_line(); }
    reset_prepare(start, record);
    board_run(start, record, first && options.record == NULL ? RESET_FLAG_POWER_ON : 0, seed(start->seed));
}
