// SPDX-License-Identifier: GPL-3.0-or-later
//
// Times gathered one by one in constant memory, for quantiles at the end: a histogram with buckets
// that are 2 % wide, from 1 us to 2800 s.
#ifndef LW_CHECK_DELAYS_H
#define LW_CHECK_DELAYS_H

#include <stdint.h>

enum { LW_DELAYS_BUCKETS = 1100 };

// Plain value; start with `= {0}`. Bucket k holds times from 1.02^k to 1.02^(k+1) microseconds.
struct lw_delays {
    uint32_t count[LW_DELAYS_BUCKETS];
    double total, largest_ms;
};

void lw_delays_add(struct lw_delays *delays, double ms);
// Adds all of `more`.
void lw_delays_join(struct lw_delays *delays, const struct lw_delays *more);

// The middle of the bucket in which the share (0..1) lies: right to 1 %. NAN for NULL and for none.
double lw_delays_quantile(const struct lw_delays *delays, double share);

#endif
