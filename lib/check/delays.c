// SPDX-License-Identifier: GPL-3.0-or-later
//
// Quantiles without keeping what they are quantiles of: a night of polls takes no more memory than
// a minute of them.
#include "check/delays.h"

#include <math.h>
#include <stddef.h>

static int bucket_of(double ms)
{
    double k = log(fmax(ms * 1e3, 1.0)) / log(1.02);
    return (int)fmin(k, LW_DELAYS_BUCKETS - 1);
}

void lw_delays_add(struct lw_delays *delays, double ms)
{
    delays->count[bucket_of(ms)]++;
    delays->total++;
    delays->largest_ms = fmax(delays->largest_ms, ms);
}

void lw_delays_join(struct lw_delays *delays, const struct lw_delays *more)
{
    for (int k = 0; k < LW_DELAYS_BUCKETS; k++) {
        delays->count[k] += more->count[k];
    }
    delays->total += more->total;
    delays->largest_ms = fmax(delays->largest_ms, more->largest_ms);
}

double lw_delays_quantile(const struct lw_delays *delays, double share)
{
    if (delays == NULL || delays->total == 0) {
        return NAN;
    }
    double before = 0;
    for (int k = 0; k < LW_DELAYS_BUCKETS; k++) {
        before += delays->count[k];
        if (before >= share * delays->total) {
            return fmin(pow(1.02, k + 0.5) / 1e3, delays->largest_ms);
        }
    }
    return delays->largest_ms;
}
