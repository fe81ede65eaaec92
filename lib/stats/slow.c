// SPDX-License-Identifier: GPL-3.0-or-later
//
// The neighbourhood slides along; its sum is of differences to the first reading, to keep digits.
#include "stats/slow.h"

enum { NEIGHBOURS = 5 };

void lw_without_slow(const double *time_s, const double *value, size_t n, double near_s,
                     double *fast)
{
    size_t first = 0, last = 0; // the neighbourhood, inclusive
    double sum = 0;             // of the values in it, less the very first value
    for (size_t i = 0; i < n; i++) {
        while (last + 1 < n && (last < i + NEIGHBOURS || time_s[last + 1] < time_s[i] + near_s)) {
            last++;
            sum += value[last] - value[0];
        }
        while (first + NEIGHBOURS < i && time_s[first] < time_s[i] - near_s) {
            sum -= value[first] - value[0];
            first++;
        }
        double own = value[i] - value[0];
        fast[i] = own - (sum - own) / (double)(last - first);
    }
}
