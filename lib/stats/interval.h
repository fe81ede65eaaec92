// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bounds on what was measured: an error rate, a standard deviation, a mean. Everything that is
// judged against a limit is judged by one of these, never by the estimate alone.
#ifndef LW_STATS_INTERVAL_H
#define LW_STATS_INTERVAL_H

#include "base/error.h"

#include <stdint.h>

struct lw_interval {
    double low, high;
};

// What a confidence is said of. Two-sided: the true value lies in low..high. One-sided: it lies
// above low; and, as a separate statement of the same confidence, it lies below high.
enum lw_sides { LW_TWO_SIDED, LW_ONE_SIDED };

// All: 0 < confidence < 1 (0.95). LW_USAGE for arguments that make no sense, LW_GARBLED where no
// trustworthy number was found; the interval is then NAN..NAN.

// Rate of `errors` among `n` independent trials (n >= 1, errors <= n), exact in the sense that the
// confidence is never undershot (Clopper and Pearson 1934).
enum lw_status lw_interval_clopper_pearson(enum lw_sides sides, double confidence, uint64_t errors,
                                           uint64_t n, struct lw_interval *interval,
                                           struct lw_error *error);

// The same by the score method (Wilson 1927): right on average and shorter, for comparing nodes
// with each other; not for proving a limit.
enum lw_status lw_interval_wilson(enum lw_sides sides, double confidence, uint64_t errors,
                                  uint64_t n, struct lw_interval *interval, struct lw_error *error);

// Standard deviation from an estimate `stdev` (>= 0) with effective_n (above 1, need not be whole)
// independent readings: chi-square with effective_n - 1 degrees of freedom. Readings of about
// normal distribution. The unit is that of stdev.
enum lw_status lw_interval_stdev(enum lw_sides sides, double confidence, double stdev,
                                 double effective_n, struct lw_interval *interval,
                                 struct lw_error *error);

// Mean from `mean` and `stdev` of single readings, effective_n (above 1) independent ones: Student.
enum lw_status lw_interval_mean(enum lw_sides sides, double confidence, double mean, double stdev,
                                double effective_n, struct lw_interval *interval,
                                struct lw_error *error);

#endif
