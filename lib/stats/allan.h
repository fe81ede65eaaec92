// SPDX-License-Identifier: GPL-3.0-or-later
//
// How the mean of readings improves with averaging, and when it stops to: the Allan deviation.
// White noise falls with the square root of the time averaged over, drift rises with it.
#ifndef LW_STATS_ALLAN_H
#define LW_STATS_ALLAN_H

#include "base/error.h"

#include <stddef.h>

// Overlapping Allan deviation of n readings at even intervals, averaged over `average` of them each
// (1 <= average, 2 average <= n; else LW_USAGE): the square root of half the mean square difference
// of neighbouring averages (NIST Special Publication 1065, 5.2.4). In the reading's unit.
// LW_MEMORY.
enum lw_status lw_allan(const double *value, size_t n, size_t average, double *deviation,
                        struct lw_error *error);

// The averaging over which the deviation is least, among powers of two that leave at least nine
// averages, and the deviation there: the longest averaging that still helps. n >= 18, else
// LW_USAGE.
struct lw_allan_best {
    size_t average;
    double deviation;
};
enum lw_status lw_allan_best(const double *value, size_t n, struct lw_allan_best *best,
                             struct lw_error *error);

#endif
