// SPDX-License-Identifier: GPL-3.0-or-later
//
// The difference of two neighbouring averages slides along the readings as one running sum.
#include "stats/allan.h"

#include <math.h>

static const size_t fewest_averages = 9;

enum lw_status lw_allan(const double *value, size_t n, size_t average, double *deviation,
                        struct lw_error *error)
{
    *deviation = NAN;
    if (average < 1 || average > n / 2) {
        return lw_fail(error, LW_USAGE, "averages over %zu need twice as many readings, not %zu",
                       average, n);
    }
    double difference = 0; // of the sums of two neighbouring averages
    for (size_t i = 0; i < average; i++) {
        difference += value[i + average] - value[i];
    }
    double square = 0;
    size_t count = n - 2 * average + 1;
    for (size_t i = 0; i < count; i++) {
        square += difference * difference;
        if (i + 1 < count) {
            difference +=
                (value[i + 2 * average] - value[i + average]) - (value[i + average] - value[i]);
        }
    }
    *deviation = sqrt(square / (2 * (double)count)) / (double)average;
    return LW_OK;
}

enum lw_status lw_allan_best(const double *value, size_t n, struct lw_allan_best *best,
                             struct lw_error *error)
{
    *best = (struct lw_allan_best){0, INFINITY};
    if (n < 2 * fewest_averages) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to see how averaging helps", n);
    }
    for (size_t average = 1; average * fewest_averages <= n; average *= 2) {
        double deviation;
        enum lw_status status = lw_allan(value, n, average, &deviation, error);
        if (status) {
            return status;
        }
        if (deviation < best->deviation) {
            *best = (struct lw_allan_best){average, deviation};
        }
    }
    return LW_OK;
}
