// SPDX-License-Identifier: GPL-3.0-or-later
//
// The sums are taken on values shifted by the first one and are compensated, so that a spread of
// micrometres on a reading of metres keeps its digits.
#include "stats/spread.h"

#include "stats/correlation.h"
#include "stats/interval.h"
#include "stats/quantile.h"
#include "stats/steepness.h"

#include <float.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

// 1 / (quantile 0.75 of the normal distribution): makes the median absolute deviation of normal
// readings their standard deviation (Hampel 1974).
static const double mad_to_stdev = 1.482602218505602;

enum { NEIGHBOURS = 5, SHORTEST_STUCK = 10, ENOUGH = 20000 };

// A sum that carries what was rounded off along (Neumaier 1974).
struct sum {
    double total, rest;
};

static void add(struct sum *sum, double term)
{
    double total = sum->total + term;
    sum->rest +=
        fabs(sum->total) >= fabs(term) ? (sum->total - total) + term : (term - total) + sum->total;
    sum->total = total;
}

static double sum_of(const struct sum *sum)
{
    return sum->total + sum->rest;
}

struct lw_moments lw_moments(const double *value, size_t n)
{
    double shift = value[0];
    struct sum first = {0}, square = {0}, next = {0};
    for (size_t i = 0; i < n; i++) {
        add(&first, value[i] - shift);
    }
    double off = sum_of(&first) / (double)n;
    double before = 0;
    for (size_t i = 0; i < n; i++) {
        double deviation = (value[i] - shift) - off;
        add(&square, deviation * deviation);
        add(&next, deviation * before);
        before = deviation;
    }
    double total = sum_of(&square);
    return (struct lw_moments){.mean = shift + off,
                               .stdev = n > 1 ? sqrt(total / (double)(n - 1)) : NAN,
                               .lag1 = total > 0 ? sum_of(&next) / total : NAN};
}

static int ascending(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

double lw_median(double *value, size_t n)
{
    return gsl_stats_median(value, 1, n);
}

struct lw_spread_options lw_spread_options(void)
{
    return (struct lw_spread_options){NAN, NAN, NAN, 1};
}

static enum lw_status check_series(const double *time_s, const double *value, size_t n,
                                   struct lw_error *error)
{
    if (n == 0) {
        return lw_fail(error, LW_USAGE, "no readings: nothing can be said of them");
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(time_s[i]) || !isfinite(value[i])) {
            return lw_fail(error, LW_USAGE, "reading %zu is no finite number", i + 1);
        }
        if (i > 0 && time_s[i] < time_s[i - 1]) {
            return lw_fail(error, LW_USAGE, "reading %zu is earlier than the one before", i + 1);
        }
    }
    return LW_OK;
}

// Straight line through the readings. Leaves the residuals in `residual` and returns the sum of
// squared centred times; slope NAN and the residuals about the mean when all times are equal.
static double fit_line(const double *time_s, const double *value, size_t n, double *residual,
                       double *slope)
{
    double middle_s = lw_moments(time_s, n).mean;
    double mean = lw_moments(value, n).mean;
    struct sum square = {0}, product = {0};
    for (size_t i = 0; i < n; i++) {
        double t = time_s[i] - middle_s;
        add(&square, t * t);
        add(&product, t * (value[i] - mean));
    }
    double total = sum_of(&square);
    *slope = total > 0 ? sum_of(&product) / total : NAN;
    for (size_t i = 0; i < n; i++) {
        double line = total > 0 ? *slope * (time_s[i] - middle_s) : 0;
        residual[i] = (value[i] - mean) - line;
    }
    return total;
}

void lw_line_residuals(const double *time_s, const double *value, size_t n, double *residual)
{
    double slope;
    fit_line(time_s, value, n, residual, &slope);
}

static double squares(const double *residual, size_t n)
{
    struct sum square = {0};
    for (size_t i = 0; i < n; i++) {
        add(&square, residual[i] * residual[i]);
    }
    return sum_of(&square);
}

// Median absolute deviation from the median, as a standard deviation. Uses `scratch` of n.
static double robust_scale(const double *value, size_t n, double *scratch)
{
    memcpy(scratch, value, n * sizeof *scratch);
    double median = lw_median(scratch, n);
    for (size_t i = 0; i < n; i++) {
        scratch[i] = fabs(value[i] - median);
    }
    return mad_to_stdev * lw_median(scratch, n);
}

// Enough values to see what all are made of; returns how many.
static size_t thin(const double *value, size_t n, double *some)
{
    size_t step = (n + ENOUGH - 1) / ENOUGH, count = 0;
    for (size_t i = 0; i < n; i += step) {
        some[count++] = value[i];
    }
    return count;
}

// The step of the readings: the smallest gap between different ones, when all small gaps are whole
// multiples of it. NAN with fewer than three different readings or gaps of any size.
static double guess_resolution(const double *value, size_t n, double *scratch)
{
    n = thin(value, n, scratch);
    qsort(scratch, n, sizeof *scratch, ascending);
    double rounding = 4 * DBL_EPSILON * fmax(fabs(scratch[0]), fabs(scratch[n - 1]));
    double step = INFINITY;
    size_t gaps = 0;
    for (size_t i = 1; i < n; i++) {
        double gap = scratch[i] - scratch[i - 1];
        if (gap > rounding) {
            step = fmin(step, gap);
            gaps++;
        }
    }
    if (gaps < 2) {
        return NAN;
    }
    for (size_t i = 1; i < n; i++) {
        double steps = (scratch[i] - scratch[i - 1]) / step;
        if (steps < 1000 && fabs(steps - round(steps)) > 0.02 + rounding * 1000 / step) {
            return NAN;
        }
    }
    double range = scratch[n - 1] - scratch[0];
    return range / round(range / step);
}

static size_t longest_equal(const double *value, size_t n, size_t *equal_pairs)
{
    size_t longest = 1, run = 1;
    *equal_pairs = 0;
    for (size_t i = 1; i < n; i++) {
        bool equal = value[i] == value[i - 1];
        *equal_pairs += equal;
        run = equal ? run + 1 : 1;
        longest = run > longest ? run : longest;
    }
    return longest;
}

// Whether a run is too long for how often neighbours are equal elsewhere: expected fewer than once
// in a million such series.
static bool is_stuck(size_t n, size_t longest, size_t equal_pairs)
{
    if (longest < SHORTEST_STUCK) {
        return false;
    }
    if (longest == n) {
        return true;
    }
    size_t in_run = longest - 1;
    double share = (double)(equal_pairs - in_run + 1) / (double)(n - 1 - in_run + 2);
    return log((double)n) + (double)in_run * log(share) < log(1e-6);
}

static double neighbour_median(const double *value, size_t n, size_t i)
{
    double window[2 * NEIGHBOURS];
    size_t count = 0;
    size_t first = i > NEIGHBOURS ? i - NEIGHBOURS : 0;
    size_t last = i + NEIGHBOURS < n ? i + NEIGHBOURS : n - 1;
    for (size_t j = first; j <= last; j++) {
        if (j != i) {
            size_t at = count++;
            for (; at > 0 && window[at - 1] > value[j]; at--) {
                window[at] = window[at - 1];
            }
            window[at] = value[j];
        }
    }
    return count % 2 ? window[count / 2] : window[count / 2 - 1] / 2 + window[count / 2] / 2;
}

// Distances above which a reading is an outlier. The scale of few readings is itself uncertain: a
// MAD is worth 0.37 times as many readings as a standard deviation (its efficiency, Huber 1981), so
// the reach is Student's with so many degrees of freedom. Rounding moves a MAD by up to half a
// step. Where more than half of the differences are nothing, the MAD is 0 and says nothing: then
// the step of the reading is the scale, or, when that is unknown as well, any difference is out,
// provided that differences are rare.
static enum lw_status outlier_threshold(const double *off, size_t n, double resolution,
                                        unsigned together, double *scratch, double *threshold,
                                        struct lw_error *error)
{
    double reach = 0;
    enum lw_status status = lw_quantile_t(LW_TAIL_ABOVE, 0.05 / (2 * (double)n * together),
                                          fmax(0.37 * (double)(n - 1), 1), &reach, error);
    if (status) {
        return status;
    }
    double scale = robust_scale(off, n, scratch);
    if (resolution > 0) {
        scale += 1.4826 * resolution / 2;
    }
    *threshold = fmax(3, reach) * scale;
    if (scale == 0) {
        size_t differ = 0;
        for (size_t i = 0; i < n; i++) {
            differ += off[i] != 0;
        }
        *threshold = differ * 100 < n ? 0 : INFINITY;
    }
    return LW_OK;
}

enum lw_status lw_spread_outliers(const double *value, size_t n, double resolution,
                                  unsigned together, bool *out, size_t *count,
                                  struct lw_error *error)
{
    *count = 0;
    if (n == 0) {
        return lw_fail(error, LW_USAGE, "no readings: no outliers");
    }
    memset(out, 0, n * sizeof *out);
    if (n < 3) {
        return LW_OK;
    }
    double *off = malloc(2 * n * sizeof *off);
    if (!off) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    for (size_t i = 0; i < n; i++) {
        off[i] = value[i] - neighbour_median(value, n, i);
    }
    double threshold = INFINITY;
    enum lw_status status =
        outlier_threshold(off, n, resolution, together, off + n, &threshold, error);
    for (size_t i = 0; i < n && !status; i++) {
        out[i] = fabs(off[i]) > threshold;
        *count += out[i];
    }
    free(off);
    return status;
}

static enum lw_status count_outliers(const double *value, size_t n, unsigned together,
                                     struct lw_spread *spread, struct lw_error *error)
{
    bool *out = malloc(n * sizeof *out);
    if (!out) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    enum lw_status status =
        lw_spread_outliers(value, n, spread->resolution, together, out, &spread->outliers, error);
    free(out);
    return status;
}

static void count_ends(const double *value, size_t n, const struct lw_spread_options *options,
                       struct lw_spread *spread)
{
    for (size_t i = 0; i < n; i++) {
        spread->at_low += value[i] <= options->range_low;
        spread->at_high += value[i] >= options->range_high;
    }
}

// What the readings are worth: by their autocorrelation as seen, and less where the shape of their
// spectrum says so.
static enum lw_status count_worth(const double *residual, size_t n, struct lw_spread *spread,
                                  struct lw_error *error)
{
    double for_slope = 1;
    enum lw_status status =
        lw_effective_n(residual, n, &spread->effective_n_mean, &spread->effective_n_spread, error);
    if (!status) {
        status = lw_effective_n_steep(residual, n, &for_slope, &spread->effective_n_high, error);
        spread->effective_n_mean = fmin(for_slope, spread->effective_n_mean);
        spread->effective_n_high = fmin(spread->effective_n_high, spread->effective_n_spread);
    }
    return status;
}

// Everything that needs the residuals of the straight line.
static enum lw_status without_drift(const double *time_s, const double *value, size_t n,
                                    double *residual, struct lw_spread *spread,
                                    struct lw_error *error)
{
    double times = fit_line(time_s, value, n, residual, &spread->drift_per_s);
    size_t parameters = times > 0 ? 2 : 1;
    if (n > parameters) {
        spread->noise = sqrt(squares(residual, n) / (double)(n - parameters));
        spread->noise_lag1 = lw_moments(residual, n).lag1;
    }
    enum lw_status status = count_worth(residual, n, spread, error);
    // The fit takes what is slow in the noise along with the drift: (1 + 2 sum rho) readings' worth
    // of it for each parameter.
    double taken = fmin(0.75, (double)parameters / spread->effective_n_mean);
    double whole = spread->noise / sqrt(1 - taken);
    spread->mean_u = whole / sqrt(spread->effective_n_mean);
    spread->drift_u_per_s = NAN;
    if (times > 0) {
        spread->drift_u_per_s = whole * sqrt((double)n / spread->effective_n_mean / times);
    }
    return status;
}

// Takes the rounding to steps off the noise, where it is known (Sheppard 1898).
static void take_rounding_off(struct lw_spread *spread)
{
    double step = spread->resolution > 0 ? spread->resolution : 0;
    double square = spread->noise * spread->noise - step * step / 12;
    spread->noise_unrounded = isnan(square) ? NAN : sqrt(fmax(0, square));
    spread->below_resolution =
        spread->noise == 0 || (step > 0 && spread->noise_unrounded < step / 2);
    // Noise over half a step averages the rounding out; less leaves the mean where it was rounded
    // to.
    if (spread->below_resolution) {
        spread->mean_u = hypot(spread->mean_u, step / sqrt(12));
    }
}

// Largest standard deviation of readings whose own noise is half a step.
static double hidden_by_steps(const struct lw_spread *spread)
{
    return spread->resolution > 0 ? spread->resolution * sqrt(1.0 / 4 + 1.0 / 12) : INFINITY;
}

enum lw_status lw_spread_bounds(const struct lw_spread *spread, double confidence,
                                struct lw_interval *interval, struct lw_error *error)
{
    *interval = (struct lw_interval){0, INFINITY};
    struct lw_interval above;
    if (!isfinite(spread->noise) || spread->effective_n_high < 2) {
        return LW_OK;
    }
    enum lw_status status = lw_interval_stdev(LW_ONE_SIDED, confidence, spread->noise,
                                              spread->effective_n_spread, interval, error);
    if (!status) {
        status = lw_interval_stdev(LW_ONE_SIDED, confidence, spread->noise,
                                   spread->effective_n_high, &above, error);
        interval->high = above.high;
    }
    if (!status && spread->below_resolution) {
        interval->low = 0;
        interval->high = fmax(interval->high, hidden_by_steps(spread));
    }
    return status;
}

double lw_spread_effective_n(const struct lw_spread *spread, double limit)
{
    if (!isfinite(spread->noise)) {
        return 1;
    }
    return spread->noise <= limit ? spread->effective_n_high : spread->effective_n_spread;
}

enum lw_status lw_spread_decide(const struct lw_spread *spread, double limit, unsigned together,
                                struct lw_decided *decided, struct lw_error *error)
{
    double noise = isfinite(spread->noise) ? spread->noise : 0;
    double effective_n = lw_spread_effective_n(spread, limit);
    enum lw_status status = lw_decide_stdev(noise, effective_n, limit, together, decided, error);
    if (!status) {
        status = lw_spread_bounds(spread, decided->confidence, &decided->bounds, error);
    }
    if (!status && spread->below_resolution) {
        bool kept = decided->bounds.high <= limit;
        decided->decision = kept ? LW_LIMIT_KEPT : LW_LIMIT_OPEN;
        decided->n_to_decide = kept ? effective_n : INFINITY;
    }
    return status;
}

static enum lw_status bound(struct lw_spread *spread, struct lw_error *error)
{
    struct lw_interval interval;
    enum lw_status status = lw_spread_bounds(spread, 0.95, &interval, error);
    if (!status) {
        spread->stdev_low95 = interval.low;
        spread->stdev_high95 = interval.high;
    }
    return status;
}

static struct lw_spread unknown_spread(size_t n)
{
    return (struct lw_spread){.n = n,
                              .stdev = NAN,
                              .robust_stdev = NAN,
                              .lag1 = NAN,
                              .noise = NAN,
                              .noise_unrounded = NAN,
                              .noise_lag1 = NAN,
                              .effective_n_mean = 1,
                              .effective_n_spread = 1,
                              .effective_n_high = 1,
                              .mean_u = NAN,
                              .stdev_high95 = INFINITY,
                              .drift_per_s = NAN,
                              .drift_u_per_s = NAN};
}

static enum lw_status measure(const double *time_s, const double *value, size_t n,
                              const struct lw_spread_options *options, double *scratch,
                              struct lw_spread *spread, struct lw_error *error)
{
    struct lw_moments moments = lw_moments(value, n);
    *spread = unknown_spread(n);
    spread->duration_s = time_s[n - 1] - time_s[0];
    spread->mean = moments.mean;
    spread->stdev = moments.stdev;
    spread->lag1 = moments.lag1;
    spread->resolution =
        options->resolution > 0 ? options->resolution : guess_resolution(value, n, scratch);
    size_t equal_pairs = 0;
    spread->longest_equal = longest_equal(value, n, &equal_pairs);
    spread->stuck = is_stuck(n, spread->longest_equal, equal_pairs);
    count_ends(value, n, options, spread);
    double *residual = scratch + n;
    enum lw_status status = without_drift(time_s, value, n, residual, spread, error);
    if (!status) {
        spread->robust_stdev = n > 1 ? robust_scale(residual, n, scratch) : NAN;
        take_rounding_off(spread);
        status = count_outliers(value, n, options->together, spread, error);
    }
    return status ? status : bound(spread, error);
}

enum lw_status lw_spread_of(const double *time_s, const double *value, size_t n,
                            const struct lw_spread_options *options, struct lw_spread *spread,
                            struct lw_error *error)
{
    *spread = unknown_spread(0);
    enum lw_status status = check_series(time_s, value, n, error);
    if (status) {
        return status;
    }
    double *scratch = malloc(2 * n * sizeof *scratch);
    if (!scratch) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    status = measure(time_s, value, n, options, scratch, spread, error);
    free(scratch);
    return status;
}
