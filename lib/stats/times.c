// SPDX-License-Identifier: GPL-3.0-or-later
//
// The power spectrum of the times themselves: |sum exp(2 pi i f t)|^2 / n^2.
#include "stats/times.h"

#include "stats/nonuniform.h"

#include <math.h>
#include <stdlib.h>

static const double oversampling = 4; // frequencies per 1 / duration
static const double most_frequencies = 4e6;

static enum lw_status check_times(const double *time_s, size_t n, double low_hz, double high_hz,
                                  struct lw_error *error)
{
    if (n < 3 || !(time_s[n - 1] > time_s[0])) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to look at their times", n);
    }
    double duration_s = time_s[n - 1] - time_s[0];
    if (!(high_hz >= low_hz) || (high_hz - low_hz) * duration_s * oversampling > most_frequencies) {
        return lw_fail(error, LW_USAGE, "%g to %g Hz over %g s are too many frequencies", low_hz,
                       high_hz, duration_s);
    }
    return LW_OK;
}

// The arrays of one transform.
struct work {
    double *turn;
    double complex *strength, *sum;
};

static void work_finish(struct work *work)
{
    free(work->turn);
    free(work->strength);
    free(work->sum);
}

static enum lw_status work_start(struct work *work, size_t n, size_t half, struct lw_error *error)
{
    work->turn = calloc(n, sizeof *work->turn);
    work->strength = calloc(n, sizeof *work->strength);
    work->sum = calloc(2 * half + 1, sizeof *work->sum);
    if (work->turn && work->strength && work->sum) {
        return LW_OK;
    }
    return lw_fail(error, LW_MEMORY, "no memory for %zu frequencies", 2 * half + 1);
}

// Index of the first top that is about as high as the highest: regular times repeat at every
// multiple of their rate, and the rate itself is wanted.
static size_t first_strong(const double complex *sum, size_t count)
{
    double highest = 0;
    for (size_t i = 0; i < count; i++) {
        highest = fmax(highest, cabs(sum[i]));
    }
    size_t at = 0;
    while (cabs(sum[at]) < 0.93 * highest) {
        at++;
    }
    while (at + 1 < count && cabs(sum[at + 1]) > cabs(sum[at])) {
        at++;
    }
    return at;
}

// Strongest share between low_hz and high_hz.
static enum lw_status strongest(const double *time_s, size_t n, double low_hz, double high_hz,
                                struct lw_times_repeat *repeat, struct lw_error *error)
{
    double duration_s = time_s[n - 1] - time_s[0];
    double middle_hz = (low_hz + high_hz) / 2;
    size_t half = (size_t)ceil((high_hz - low_hz) / 2 * duration_s * oversampling) + 1;
    double step_hz = (high_hz - low_hz) / 2 / (double)half;
    struct work work = {0};
    enum lw_status status = work_start(&work, n, half, error);
    for (size_t i = 0; i < n && !status; i++) {
        double since_s = time_s[i] - time_s[0];
        double phase = 2 * M_PI * middle_hz * since_s;
        work.turn[i] = step_hz * since_s;
        work.strength[i] = CMPLX(cos(phase), -sin(phase));
    }
    if (!status) {
        status = lw_nonuniform_sums(work.turn, n, work.strength, half, work.sum, error);
    }
    if (!status) {
        size_t at = first_strong(work.sum, 2 * half + 1);
        double size = cabs(work.sum[at]) / (double)n;
        repeat->share = size * size;
        repeat->repeat_hz = middle_hz + step_hz * ((double)at - (double)half);
    }
    work_finish(&work);
    return status;
}

enum lw_status lw_times_repeat(const double *time_s, size_t n, double high_hz,
                               struct lw_times_repeat *repeat, struct lw_error *error)
{
    *repeat = (struct lw_times_repeat){NAN, 0};
    enum lw_status status = check_times(time_s, n, 0, high_hz, error);
    if (status) {
        return status;
    }
    double low_hz = 3 / (time_s[n - 1] - time_s[0]);
    status = check_times(time_s, n, low_hz, high_hz, error);
    return status ? status : strongest(time_s, n, low_hz, high_hz, repeat, error);
}

enum lw_status lw_times_folding(const double *time_s, size_t n, double frequency_hz, double *share,
                                struct lw_error *error)
{
    struct lw_times_repeat repeat = {NAN, 0};
    *share = 1;
    enum lw_status status = check_times(time_s, n, 0, 0, error);
    if (status) {
        return status;
    }
    double half_rate_hz = 0.5 * (double)(n - 1) / (time_s[n - 1] - time_s[0]);
    double reach_hz = fmin(half_rate_hz, frequency_hz / 2);
    double low_hz = frequency_hz - reach_hz, high_hz = frequency_hz + reach_hz;
    status = check_times(time_s, n, low_hz, high_hz, error);
    if (!status) {
        status = strongest(time_s, n, low_hz, high_hz, &repeat, error);
    }
    if (!status) {
        *share = repeat.share;
    }
    return status;
}
