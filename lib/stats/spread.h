// SPDX-License-Identifier: GPL-3.0-or-later
//
// What one node's readings at rest say: where they are, how far they spread, whether they drift,
// stick, jump out or saturate, and how many independent readings they are worth. Readings that
// follow each other are alike, so n of them say less than n independent ones; every bound here uses
// the effective number.
#ifndef LW_STATS_SPREAD_H
#define LW_STATS_SPREAD_H

#include "base/error.h"
#include "stats/decide.h"
#include "stats/interval.h"

#include <stdbool.h>
#include <stddef.h>

// What is known beside the readings. NAN where unknown: lw_spread_options() sets all so.
struct lw_spread_options {
    double resolution; // smallest step of the reading, in its unit
    double range_low, range_high;
    unsigned together; // series judged at once, at least 1 (the default): outliers are held to it
};
struct lw_spread_options lw_spread_options(void);

// Numbers in the reading's unit; NAN where the readings can't say (one reading has no stdev).
// `stdev` is the plain one about the mean. `noise` is what is left when a straight drift is taken
// away, and is the one to judge against a noise limit; stdev_low95 and stdev_high95 are its bounds.
// What is bounded is the spread of readings about a straight line over as long as was measured;
// noise that is slower than that is not in it.
struct lw_spread {
    size_t n;
    double duration_s; // last time minus first
    double mean;
    double stdev;        // divisor n - 1
    double robust_stdev; // 1.4826 median absolute deviation, after removing drift
    double lag1;         // lag-1 autocorrelation about the mean, as NIST defines it
    double noise;        // standard deviation about the fitted line, divisor n - 2
    double
        noise_unrounded; // the sensor's own: noise without what rounding to steps adds (Sheppard)
    double noise_lag1;   // lag-1 autocorrelation after removing drift
    // n / (1 + 2 sum rho_k) and n / (1 + 2 sum rho_k^2) of the readings without drift: what they
    // are worth for a mean, and for a spread (Bayley and Hammersley 1946). At most n each, at least
    // 1.
    double effective_n_mean;
    double effective_n_spread;
    // What the upper bound of the spread takes them for: at most effective_n_spread, less where
    // their spectrum may fall towards high frequencies (see stats/steepness.h).
    double effective_n_high;
    double mean_u;      // standard uncertainty of the mean, noise / sqrt(effective_n_mean)
    double stdev_low95; // one-sided 95 % each; 0 and INFINITY when effective_n_high is below 2
    double stdev_high95;
    double drift_per_s;     // slope of the fitted line; NAN when all times are equal
    double drift_u_per_s;   // its standard uncertainty, widened for autocorrelation
    size_t outliers;        // readings far from their neighbours' median
    size_t longest_equal;   // longest run of equal readings, at least 1
    bool stuck;             // all equal, or a run of equal readings that noise does not explain
    double resolution;      // given, else guessed from the steps seen, else NAN
    bool below_resolution;  // noise is under half a step: the spread says little
    size_t at_low, at_high; // readings at or beyond the ends of the range
};

// time_s ascending (equal times are allowed), both arrays of n >= 1 finite numbers. A series worth
// a spread has some tens of readings. Lags count readings: intervals need not be equal, but the
// same all along. LW_USAGE for n = 0, times that run backwards, numbers that are not finite;
// LW_MEMORY. A million readings take some 60 MB while it runs.
enum lw_status lw_spread_of(const double *time_s, const double *value, size_t n,
                            const struct lw_spread_options *options, struct lw_spread *spread,
                            struct lw_error *error);

// One-sided bounds of `noise` at `confidence` (0 < confidence < 1), as stdev_low95 and stdev_high95
// are at 0.95. LW_GARBLED where no trustworthy number was found.
enum lw_status lw_spread_bounds(const struct lw_spread *spread, double confidence,
                                struct lw_interval *interval, struct lw_error *error);

// Judges `noise` against `limit` (above 0, in the reading's unit) for one of `together` nodes, as
// lw_decide_stdev, but with the bounds above: readings that never move do not prove less noise than
// their step can show. Undecided below the resolution is never decided by more readings.
enum lw_status lw_spread_decide(const struct lw_spread *spread, double limit, unsigned together,
                                struct lw_decided *decided, struct lw_error *error);

// The effective number that lw_spread_decide() goes by and counts n_to_decide in: spread within the
// limit is decided by the upper bound, spread over it by the lower.
double lw_spread_effective_n(const struct lw_spread *spread, double limit);

// Marks the outliers that `spread->outliers` counts: out[i] for each reading. A reading is one when
// it is further from the median of its neighbourhood (5 each side) than noise alone reaches in n
// readings of each of `together` series with probability 0.95, in units of the scale 1.4826 MAD of
// all such differences (Hampel's rule with a threshold that grows with n, at least 3, and is
// Student's since the scale of few readings is uncertain). Quantised readings: half a step is added
// to the MAD. MAD = 0 and resolution unknown: a reading that differs is one only when fewer than 1
// in 100 differ. `resolution` may be NAN. LW_USAGE, LW_MEMORY.
enum lw_status lw_spread_outliers(const double *value, size_t n, double resolution,
                                  unsigned together, bool *out, size_t *count,
                                  struct lw_error *error);

// Mean, standard deviation (n - 1) and lag-1 autocorrelation about the mean only, n >= 1; NAN where
// undefined. Accurate to the digits that the data carry (shifted, then corrected sums).
struct lw_moments {
    double mean, stdev, lag1;
};
struct lw_moments lw_moments(const double *value, size_t n);

// What a least-squares straight line leaves of the values, into residual[n]; about the mean when
// all times are equal.
void lw_line_residuals(const double *time_s, const double *value, size_t n, double *residual);

// Median of n >= 1 values; changes their order.
double lw_median(double *value, size_t n);

#endif
