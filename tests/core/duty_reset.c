/* A reset at every instruction of the duty record's writers: what is found afterwards is the record before or after.
 *
 * A child process runs one writer on a record in shared memory, one machine instruction at a time; the parent takes
 * up a copy of the record after each, as a start does. Prints how many instructions and how many different records.
 */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/ptrace.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/duty.h"
#include "core/port.h"

static duty_t *shared;
static settings_axis_t now_set;
static settings_axis_t next_set;
static unsigned long steps, images;

void core_assert_failed(void) { abort(); }

typedef void (*writer_t)(void);
static void tick_on(void) { duty_tick(shared, 1); }
static void tick_off(void) { duty_tick(shared, 0); }
static void change(void) { duty_settings_changed(shared, &next_set); }

static void fail(const char *what, uint32_t used, uint32_t total)
{
    printf("%s: after a reset %lu used, %lu in all\n", what, (unsigned long)used, (unsigned long)total);
    exit(1);
}

/* A start on what is there now. `atomic`: exactly before or after; else at least what was used. */
static void judge(const char *what, const duty_t *before, const duty_t *after, int atomic)
{
    duty_t found = *shared;
    const settings_axis_t *set = atomic ? &now_set : &next_set;
    duty_resume(&found, set);
    uint32_t used = duty_used(&found);
    uint32_t total = duty_total(&found);
    int is_before = used == duty_used(before) && total == duty_total(before);
    int is_after = used == duty_used(after) && total == duty_total(after);
    int is_safe = !atomic && (used == duty_used(after) || used == (uint32_t)30 * ((set->duty_window_s * 200u + 29) / 30));
    if (!(is_before && atomic) && !is_after && !is_safe) {
        fail(what, used, total);
    }
}

static void step_through(const char *what, writer_t writer, int atomic)
{
    duty_t before = *shared;
    duty_t last = before;
    writer();
    duty_t after = *shared;
    *shared = before;
    pid_t child = fork();
    if (child == 0) {
        ptrace(PTRACE_TRACEME, 0, NULL, NULL);
        raise(SIGSTOP);
        writer();
        _exit(0);
    }
    int status;
    waitpid(child, &status, 0);
    for (;;) {
        if (ptrace(PTRACE_SINGLESTEP, child, NULL, NULL) != 0) {
            perror("ptrace");
            exit(2);
        }
        waitpid(child, &status, 0);
        if (WIFEXITED(status)) {
            break;
        }
        steps++;
        if (memcmp(&last, shared, sizeof last) != 0) {
            last = *shared;
            images++;
            judge(what, &before, &after, atomic);
        }
    }
    if (memcmp(shared, &after, sizeof after) != 0) {
        fail("did not finish", 0, 0);
    }
}

int main(void)
{
    shared = mmap(NULL, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    now_set.duty_window_s = 60;
    now_set.duty_share_permille = 500;
    next_set = now_set;
    srand(1);
    duty_begin(shared, &now_set, 0, 0);
    for (int round = 0; round < 12; round++) {
        for (int left = 1 + rand() % 900; left > 0; left--) {
            duty_tick(shared, rand() % 3 == 0);
        }
        while (shared->copy[0].elapsed < 398 && shared->copy[1].elapsed < 398) {
            duty_tick(shared, 1);
        }
        step_through("the tick before a new bin", tick_on, 1);
        step_through("the tick of a new bin", round % 2 ? tick_on : tick_off, 1);
        step_through("the tick after it", tick_on, 1);
    }
    next_set.duty_window_s = 90;
    step_through("a longer window", change, 0);
    now_set = next_set;
    next_set.duty_window_s = 61;
    step_through("a shorter window", change, 0);
    printf("%lu instructions, %lu different records\n", steps, images);
    return 0;
}
