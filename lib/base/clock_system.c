// SPDX-License-Identifier: GPL-3.0-or-later
//
// The operating system's clocks. C11 knows no monotonic clock, so this small file is POSIX and
// stands apart from the arithmetic of clock.c.
#include "base/clock.h"

static int64_t read_ns(clockid_t which)
{
    struct timespec now;
    clock_gettime(which, &now);
    return (int64_t)now.tv_sec * 1000000000 + now.tv_nsec;
}

static int64_t system_now_ns(const struct lw_clock *clock)
{
    (void)clock;
    return read_ns(CLOCK_MONOTONIC);
}

void lw_clock_system(struct lw_clock *clock)
{
    static const struct lw_clock_ops ops = {.now_ns = system_now_ns};
    *clock = (struct lw_clock){
        .ops = &ops,
        .utc_zero_ns = read_ns(CLOCK_REALTIME) - read_ns(CLOCK_MONOTONIC),
    };
}
