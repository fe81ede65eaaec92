// SPDX-License-Identifier: GPL-3.0-or-later
//
// Readings without their slow changes. Dithered times that keep some regularity fold slow changes
// onto multiples of the poll rate, and a strong drift would pass for a tone there.
#ifndef LW_STATS_SLOW_H
#define LW_STATS_SLOW_H

#include <stddef.h>

// Each reading less the mean of its neighbours, without itself, so that a tone that is fast against
// the neighbourhood keeps its size. The neighbourhood reaches five readings and at least near_s to
// each side, less at the ends. time_s ascending, n >= 2; `fast` has room for n and is no other
// array.
void lw_without_slow(const double *time_s, const double *value, size_t n, double near_s,
                     double *fast);

#endif
