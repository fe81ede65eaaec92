// SPDX-License-Identifier: GPL-3.0-or-later
//
// The bounds decide; the rest of the file looks for the sample size at which the estimate, should
// it stay as it is, would have decided. Both ways of deciding get easier with every reading, so a
// search by halves finds it.
#include "stats/decide.h"

#include "stats/quantile.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>

static const double most_n = 1e9;

double lw_decide_confidence(unsigned together)
{
    assert(together >= 1);
    return 1 - 0.05 / together;
}

unsigned lw_decide_at_look(unsigned together, unsigned look)
{
    assert(together >= 1 && look >= 1);
    double share = (double)together * look * (look + 1.0);
    return share < (double)UINT_MAX ? (unsigned)share : UINT_MAX;
}

static enum lw_decision compare(struct lw_interval bounds, double limit)
{
    if (bounds.high <= limit) {
        return LW_LIMIT_KEPT;
    }
    return bounds.low > limit ? LW_LIMIT_BROKEN : LW_LIMIT_OPEN;
}

// What the search needs to know of an estimate: whether it would decide if it came from n. That
// takes the distribution function at the limit alone, which is the same as a bound past the limit.
struct estimate {
    bool (*decides)(const struct estimate *estimate, double n);
    double value; // a standard deviation or a rate
    double limit;
    double tail; // left out at each end
};

static bool stdev_decides(const struct estimate *estimate, double n)
{
    double dof = n - 1;
    double ratio = estimate->value / estimate->limit;
    double x = dof * ratio * ratio;
    return ratio <= 1 ? gsl_cdf_chisq_P(x, dof) <= estimate->tail
                      : gsl_cdf_chisq_Q(x, dof) < estimate->tail;
}

// Clopper and Pearson with a number of errors that need not be whole.
static bool rate_decides(const struct estimate *estimate, double n)
{
    double errors = estimate->value * n;
    if (estimate->value <= estimate->limit) {
        return gsl_cdf_beta_Q(estimate->limit, errors + 1, n - errors) <= estimate->tail;
    }
    return gsl_cdf_beta_P(estimate->limit, errors, n - errors + 1) < estimate->tail;
}

// Smallest whole n above `from` (which does not decide) that decides; INFINITY when over most_n, as
// for an estimate at the limit itself.
static double n_to_decide(const struct estimate *estimate, double from)
{
    double low = floor(fmax(from, 1));
    double high = 2 * low;
    while (!estimate->decides(estimate, high)) {
        if (high >= most_n) {
            return INFINITY;
        }
        low = high;
        high *= 2;
    }
    while (high - low > 1) {
        double middle = floor((low + high) / 2);
        *(estimate->decides(estimate, middle) ? &high : &low) = middle;
    }
    return high;
}

static void finish(const struct estimate *estimate, double n, struct lw_decided *decided)
{
    decided->decision = compare(decided->bounds, estimate->limit);
    decided->n_to_decide = n;
    if (decided->decision == LW_LIMIT_OPEN) {
        decided->n_to_decide = n_to_decide(estimate, n);
    }
}

static struct lw_decided undecided(unsigned together, double least, double most)
{
    return (struct lw_decided){.decision = LW_LIMIT_OPEN,
                               .bounds = {least, most},
                               .confidence = lw_decide_confidence(together),
                               .n_to_decide = INFINITY};
}

enum lw_status lw_decide_stdev(double stdev, double effective_n, double limit, unsigned together,
                               struct lw_decided *decided, struct lw_error *error)
{
    *decided = undecided(together, 0, INFINITY);
    if (!isfinite(stdev) || stdev < 0 || !isfinite(effective_n) || !(limit > 0)) {
        return lw_fail(error, LW_USAGE, "a standard deviation of %g can't be judged against %g",
                       stdev, limit);
    }
    struct estimate estimate = {stdev_decides, stdev, limit, 1 - decided->confidence};
    if (effective_n > 1) {
        enum lw_status status = lw_interval_stdev(LW_ONE_SIDED, decided->confidence, stdev,
                                                  effective_n, &decided->bounds, error);
        if (status) {
            return status;
        }
    }
    finish(&estimate, effective_n, decided);
    return LW_OK;
}

enum lw_status lw_decide_rate(uint64_t errors, uint64_t n, double limit, unsigned together,
                              struct lw_decided *decided, struct lw_error *error)
{
    *decided = undecided(together, 0, 1);
    if (errors > n || !(limit > 0) || !(limit < 1)) {
        return lw_fail(error, LW_USAGE, "%llu errors in %llu can't be judged against a rate of %g",
                       (unsigned long long)errors, (unsigned long long)n, limit);
    }
    double rate = n > 0 ? (double)errors / (double)n : 0;
    struct estimate estimate = {rate_decides, rate, limit, 1 - decided->confidence};
    if (n > 0) {
        enum lw_status status = lw_interval_clopper_pearson(LW_ONE_SIDED, decided->confidence,
                                                            errors, n, &decided->bounds, error);
        if (status) {
            return status;
        }
    }
    finish(&estimate, (double)n, decided);
    return LW_OK;
}

enum lw_status lw_decide_value(double value, double uncertainty, double dof, double limit,
                               unsigned together, struct lw_decided *decided,
                               struct lw_error *error)
{
    *decided = undecided(together, -INFINITY, INFINITY);
    decided->n_to_decide = NAN;
    if (!isfinite(value) || !isfinite(uncertainty) || uncertainty < 0 || !isfinite(limit)) {
        return lw_fail(error, LW_USAGE, "%g with uncertainty %g can't be judged against %g", value,
                       uncertainty, limit);
    }
    double tail = 1 - decided->confidence;
    double factor = 0;
    enum lw_status status = isinf(dof) ? lw_quantile_normal(LW_TAIL_ABOVE, tail, &factor, error)
                                       : lw_quantile_t(LW_TAIL_ABOVE, tail, dof, &factor, error);
    if (!status) {
        decided->bounds.low = value - factor * uncertainty;
        decided->bounds.high = value + factor * uncertainty;
        decided->decision = compare(decided->bounds, limit);
    }
    return status;
}
