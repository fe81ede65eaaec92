// SPDX-License-Identifier: GPL-3.0-or-later
//
// The textbook forms, each through the quantiles of this room. Where an end lies at the edge of
// what is possible (no errors, only errors) it is that edge, without a search.
#include "stats/interval.h"

#include "stats/quantile.h"

#include <math.h>

static const struct lw_interval nothing = {NAN, NAN};

// Probability left out at each end.
static double outside(enum lw_sides sides, double confidence)
{
    return sides == LW_ONE_SIDED ? 1 - confidence : (1 - confidence) / 2;
}

static enum lw_status check_confidence(double confidence, struct lw_error *error)
{
    if (confidence > 0 && confidence < 1) {
        return LW_OK;
    }
    return lw_fail(error, LW_USAGE, "a confidence lies between 0 and 1, not at %g", confidence);
}

static enum lw_status check_rate(double confidence, uint64_t errors, uint64_t n,
                                 struct lw_error *error)
{
    if (n < 1 || errors > n) {
        return lw_fail(error, LW_USAGE, "%llu errors in %llu trials make no rate",
                       (unsigned long long)errors, (unsigned long long)n);
    }
    return check_confidence(confidence, error);
}

static enum lw_status check_spread(double confidence, double stdev, double effective_n,
                                   struct lw_error *error)
{
    if (!isfinite(stdev) || stdev < 0 || !isfinite(effective_n) || effective_n <= 1) {
        return lw_fail(error, LW_USAGE,
                       "bounds need a standard deviation and more than one reading, not %g from %g",
                       stdev, effective_n);
    }
    return check_confidence(confidence, error);
}

enum lw_status lw_interval_clopper_pearson(enum lw_sides sides, double confidence, uint64_t errors,
                                           uint64_t n, struct lw_interval *interval,
                                           struct lw_error *error)
{
    *interval = nothing;
    enum lw_status status = check_rate(confidence, errors, n, error);
    if (status) {
        return status;
    }
    double tail = outside(sides, confidence);
    double k = (double)errors;
    double rest = (double)(n - errors);
    struct lw_interval found = {0, 1};
    if (errors > 0) {
        status = lw_quantile_beta(LW_TAIL_BELOW, tail, k, rest + 1, &found.low, error);
    }
    if (!status && errors < n) {
        status = lw_quantile_beta(LW_TAIL_ABOVE, tail, k + 1, rest, &found.high, error);
    }
    if (!status) {
        *interval = found;
    }
    return status;
}

enum lw_status lw_interval_wilson(enum lw_sides sides, double confidence, uint64_t errors,
                                  uint64_t n, struct lw_interval *interval, struct lw_error *error)
{
    *interval = nothing;
    enum lw_status status = check_rate(confidence, errors, n, error);
    double z = 0;
    if (!status) {
        status = lw_quantile_normal(LW_TAIL_ABOVE, outside(sides, confidence), &z, error);
    }
    if (status) {
        return status;
    }
    double trials = (double)n;
    double p = (double)errors / trials;
    double shrink = 1 + z * z / trials;
    double middle = (p + z * z / (2 * trials)) / shrink;
    double half = z * sqrt(p * (1 - p) / trials + z * z / (4 * trials * trials)) / shrink;
    interval->low = errors == 0 ? 0 : middle - half;
    interval->high = errors == n ? 1 : middle + half;
    return LW_OK;
}

enum lw_status lw_interval_stdev(enum lw_sides sides, double confidence, double stdev,
                                 double effective_n, struct lw_interval *interval,
                                 struct lw_error *error)
{
    *interval = nothing;
    enum lw_status status = check_spread(confidence, stdev, effective_n, error);
    double tail = outside(sides, confidence);
    double dof = effective_n - 1;
    double most = 0, least = 0;
    if (!status) {
        status = lw_quantile_chi_square(LW_TAIL_ABOVE, tail, dof, &most, error);
    }
    if (!status) {
        status = lw_quantile_chi_square(LW_TAIL_BELOW, tail, dof, &least, error);
    }
    if (!status) {
        interval->low = stdev * sqrt(dof / most);
        interval->high = stdev * sqrt(dof / least);
    }
    return status;
}

enum lw_status lw_interval_mean(enum lw_sides sides, double confidence, double mean, double stdev,
                                double effective_n, struct lw_interval *interval,
                                struct lw_error *error)
{
    *interval = nothing;
    enum lw_status status = check_spread(confidence, stdev, effective_n, error);
    double t = 0;
    if (!status) {
        status =
            lw_quantile_t(LW_TAIL_ABOVE, outside(sides, confidence), effective_n - 1, &t, error);
    }
    if (!status) {
        interval->low = mean - t * stdev / sqrt(effective_n);
        interval->high = mean + t * stdev / sqrt(effective_n);
    }
    return status;
}
