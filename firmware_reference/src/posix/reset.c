#include "reset.h"

#include <signal.h>
#include <stdio.h>
#include <time.h>
#include <unistd.h>

#include "../core/port.h"
#include "../generated/schema.h"
#include "bench.h"

#define WORDS 16
#define DIGITS 12

static char numbers[4][DIGITS];
static const char *words[WORDS];
static noinit_t *marked;
static timer_t watchdog;

static const char *number(uint8_t place, int value)
{
    (void)snprintf(numbers[place], DIGITS, "%d", value);
    return numbers[place];
}

void reset_prepare(const start_t *start, noinit_t *record)
{
    uint8_t n = 0;
    marked = record;
    words[n++] = start->program;
    words[n++] = "--eeprom";
    words[n++] = start->eeprom;
    words[n++] = "--line";
    words[n++] = number(0, start->line);
    words[n++] = "--bench";
    words[n++] = number(1, start->bench);
    words[n++] = "--seed";
    words[n++] = number(2, start->seed);
    words[n++] = "--again";
    words[n++] = number(3, start->record);
    if (start->lockstep) { words[n++] = "--lockstep"; }
    words[n] = NULL;
}

void reset_now(uint8_t cause)
{
    bench_off();
    noinit_mark(marked, cause);
    (void)execv(words[0], (char *const *)(uintptr_t)words);
    _exit(1);                       /* the program's file is gone: a board that no longer starts */
}

/* The core's way out when a check of its own failed. */
void core_assert_failed(void)
{
    reset_now(RESET_CAUSE_ASSERTION);
}

static void bite(int signal_number)
{
    (void)signal_number;
    reset_now(RESET_CAUSE_WATCHDOG);
}

/* The signal may still be held back by the handler that started us. */
static void let_in(void)
{
    sigset_t alarm_only;
    (void)sigemptyset(&alarm_only);
    (void)sigaddset(&alarm_only, SIGALRM);
    (void)sigprocmask(SIG_UNBLOCK, &alarm_only, NULL);
}

void watchdog_start(uint8_t lockstep)
{
    struct sigaction action = { .sa_handler = bite };
    (void)sigemptyset(&action.sa_mask);
    (void)sigaction(SIGALRM, &action, NULL);
    let_in();
    struct sigevent event = { .sigev_notify = SIGEV_SIGNAL, .sigev_signo = SIGALRM };
    if (timer_create(lockstep ? CLOCK_PROCESS_CPUTIME_ID : CLOCK_MONOTONIC, &event, &watchdog)) { _exit(1); }
    watchdog_kick();
}

void watchdog_kick(void)
{
    const struct itimerspec once = { .it_value = { .tv_nsec = WATCHDOG_MS * 1000000L } };
    (void)timer_settime(watchdog, 0, &once, NULL);
}
