// SPDX-License-Identifier: GPL-3.0-or-later
//
// The bounds decide; the rest of the file looks for the sample size at which the estimate, should
// it stay as it is, would have decided. Both ways of deciding get easier with every reading, so a
// search by halves finds it.
#include "stats/decide.h"

#include "stats/quantile.h"

#include <assert.h>
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

// What the search needs to know of an estimate: its one-sided bounds if it came from n.
struct estimate {
    enum lw_status (*bounds)(const struct estimate *estimate, double n,
                             struct lw_interval *interval, struct lw_error *error);
    double value; // a standard deviation or a rate
    double limit;
    double confidence;
};

static enum lw_status stdev_bounds(const struct estimate *estimate, double n,
                                   struct lw_interval *interval, struct lw_error *error)
{
    return lw_interval_stdev(LW_ONE_SIDED, estimate->confidence, estimate->value, n, interval,
                             error);
}

// Clopper and Pearson with a number of errors that need not be whole.
static enum lw_status rate_bounds(const struct estimate *estimate, double n,
                                  struct lw_interval *interval, struct lw_error *error)
{
    double errors = estimate->value * n;
    double tail = 1 - estimate->confidence;
    enum lw_status status = LW_OK;
    *interval = (struct lw_interval){0, 1};
    if (errors > 0) {
        status =
            lw_quantile_beta(LW_TAIL_BELOW, tail, errors, n - errors + 1, &interval->low, error);
    }
    if (!status && errors < n) {
        status =
            lw_quantile_beta(LW_TAIL_ABOVE, tail, errors + 1, n - errors, &interval->high, error);
    }
    return status;
}

static enum lw_status decides_at(const struct estimate *estimate, double n, bool *decides,
                                 struct lw_error *error)
{
    struct lw_interval bounds;
    enum lw_status status = estimate->bounds(estimate, n, &bounds, error);
    *decides = !status && compare(bounds, estimate->limit) != LW_LIMIT_OPEN;
    return status;
}

// Smallest whole n above `from` (undecided) that decides.
static enum lw_status n_to_decide(const struct estimate *estimate, double from, double *n,
                                  struct lw_error *error)
{
    double low = floor(fmax(from, 1));
    double high = low;
    bool decides = false;
    enum lw_status status = LW_OK;
    while (!status && !decides) {
        if (high >= most_n) {
            *n = INFINITY;
            return LW_OK;
        }
        low = high;
        high *= 2;
        status = decides_at(estimate, high, &decides, error);
    }
    while (!status && high - low > 1) {
        double middle = floor((low + high) / 2);
        status = decides_at(estimate, middle, &decides, error);
        *(decides ? &high : &low) = middle;
    }
    *n = high;
    return status;
}

static void finish(const struct estimate *estimate, double n, struct lw_decided *decided)
{
    decided->decision = compare(decided->bounds, estimate->limit);
    decided->n_to_decide = n;
    // An estimate at the limit itself never decides; a quantile that fails on the way to a huge n
    // is no reason to lose the decision.
    if (decided->decision == LW_LIMIT_OPEN &&
        n_to_decide(estimate, n, &decided->n_to_decide, NULL)) {
        decided->n_to_decide = INFINITY;
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
    struct estimate estimate = {stdev_bounds, stdev, limit, decided->confidence};
    if (effective_n > 1) {
        enum lw_status status = stdev_bounds(&estimate, effective_n, &decided->bounds, error);
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
    struct estimate estimate = {rate_bounds, rate, limit, decided->confidence};
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
