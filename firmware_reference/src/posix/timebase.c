#include "timebase.h"

#include <errno.h>
#include <time.h>

#define NS_PER_S INT64_C(1000000000)
#define SLICE_NS INT64_C(1000000)
#define TICK_NS (TIMEBASE_SLICES * SLICE_NS)
#define MOST_BEHIND 255

static int64_t due;                 /* when the next slice begins */
static int64_t counted;             /* ticks that have begun, were told as late, and are still to come */

static int64_t now(void)
{
    struct timespec at;
    (void)clock_gettime(CLOCK_MONOTONIC, &at);
    return at.tv_sec * NS_PER_S + at.tv_nsec;
}

void timebase_start(void)
{
    due = now() + SLICE_NS;
    counted = 0;
}

void timebase_wait(void)
{
    struct timespec until = { .tv_sec = due / NS_PER_S, .tv_nsec = due % NS_PER_S };
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &until, NULL) == EINTR) { }
    due += SLICE_NS;
}

uint8_t timebase_late(void)
{
    int64_t next = due + (TIMEBASE_SLICES - 1) * SLICE_NS;
    int64_t behind = now() - next;
    int64_t begun = behind < 0 ? 0 : behind / TICK_NS + 1;
    if (begun > MOST_BEHIND) {
        due += (begun - MOST_BEHIND) * TICK_NS;
        begun = MOST_BEHIND;
    }
    int64_t late = begun - counted;
    counted = begun > 0 ? begun - 1 : 0;        /* the one that runs next is no news then */
    return late > 0 ? (uint8_t)late : 0;
}

uint32_t timebase_us(void)
{
    return (uint32_t)(now() / 1000);
}
