// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the times of readings can and can't tell, whatever the readings are: regular polling makes
// frequencies look alike that lie a multiple of the poll rate apart.
#ifndef LW_STATS_TIMES_H
#define LW_STATS_TIMES_H

#include "base/error.h"

#include <stddef.h>

// The strongest way in which the times repeat, of about equal ones the one at the lowest frequency:
// tones at f and at |f +- repeat_hz| look alike to `share` of their power (1: not to be told apart;
// regular polling; 3/n or so: dithered enough).
struct lw_times_repeat {
    double repeat_hz;
    double share;
};

// Searches repeats from 3 / duration to high_hz. time_s ascending, n >= 3, duration above 0, else
// LW_USAGE. LW_MEMORY; LW_USAGE when the search has more than 4e6 frequencies.
enum lw_status lw_times_repeat(const double *time_s, size_t n, double high_hz,
                               struct lw_times_repeat *repeat, struct lw_error *error);

// Share of the power of a tone at frequency_hz that these times fold onto something slow (slower
// than half the mean poll rate and than half the frequency): 1 when it can't be told from drift.
// Errors as above.
enum lw_status lw_times_folding(const double *time_s, size_t n, double frequency_hz, double *share,
                                struct lw_error *error);

#endif
