// SPDX-License-Identifier: GPL-3.0-or-later
//
// Is there hum of the mains in these readings?
#ifndef LW_STATS_MAINS_H
#define LW_STATS_MAINS_H

#include "base/error.h"
#include "stats/spectrum.h"

#include <stdbool.h>
#include <stddef.h>

// `tone` is the strongest candidate, fitted; its false_alarm is the probability that noise alone
// gives as much anywhere in the search; the caller compares it with its own threshold (divided by
// the number of nodes judged together). `floor`: normalised power around the candidate, 1 for white
// noise. `visible` is false when the times can't tell this frequency from a slow one (regular
// polling at a divisor of it, half or more of the power folded): then nothing can be said, and
// false_alarm is 1.
struct lw_mains {
    struct lw_tone tone;
    double floor;
    bool visible;
};

// Searches 50 Hz and 60 Hz, each within 1 % (EN 50160 gives that for 99.5 % of a year for 50 Hz in
// an interconnected grid; for 60 Hz taken alike), against the noise floor of the 20 % around, so
// that drift and pink noise do not cry wolf. time_s ascending, n >= 16, readings not all equal,
// duration above 0; else LW_USAGE. LW_MEMORY. Of readings that go on
// for more than 12 000 s the first 12 000 s are used.
enum lw_status lw_mains_find(const double *time_s, const double *value, size_t n,
                             struct lw_mains *mains, struct lw_error *error);

#endif
