// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a check needs of its surroundings: the clock, whether the user has interrupted, a seed, the
// date, and sinks for what it sees. A check never touches a file, a terminal or a port: sinks do,
// and each of them may be NULL.
#ifndef LW_CLIENT_RUN_H
#define LW_CLIENT_RUN_H

#include "base/clock.h"
#include "base/series.h"
#include "line/line.h"
#include "modbus/exchange.h"

#include <stdbool.h>
#include <stdint.h>

struct lw_progress {
    const char *phase; // "addresses", "polls": short, borrowed
    double done, total;
    const char *unit; // "addresses", "s"
    double eta_s;     // honest remaining time, NAN when not known
};

struct lw_run {
    const struct lw_clock *clock;
    const struct lw_cancel *cancel; // may be NULL
    uint64_t seed;
    int64_t today_days; // days since 1970-01-01, UTC
    void *user;         // handed to the sinks
    void (*progress)(void *user, const struct lw_progress *progress);
    void (*exchange)(void *user, const struct lw_exchange *exchange);
    void (*reading)(void *user, const struct lw_reading *reading);
};

bool lw_run_cancelled(const struct lw_run *run);
void lw_run_progress(const struct lw_run *run, const char *phase, double done, double total,
                     const char *unit, double eta_s);

#endif
