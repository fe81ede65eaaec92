// SPDX-License-Identifier: GPL-3.0-or-later
//
// The transform is padded with zeros to twice the length, so that the end does not meet the start.
#include "stats/correlation.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static size_t padded_length(size_t n)
{
    size_t length = 2;
    while (length < 2 * n) {
        length *= 2;
    }
    return length;
}

// Replaces the values in `work` by the transform of their power.
static bool correlate(double *work, size_t length)
{
    fftw_complex *spectrum = (fftw_complex *)work;
    fftw_plan forward = fftw_plan_dft_r2c_1d((int)length, work, spectrum, FFTW_ESTIMATE);
    fftw_plan back = fftw_plan_dft_c2r_1d((int)length, spectrum, work, FFTW_ESTIMATE);
    bool planned = forward && back;
    if (planned) {
        fftw_execute(forward);
        for (size_t i = 0; i <= length / 2; i++) {
            double size = cabs(spectrum[i]);
            spectrum[i] = size * size;
        }
        fftw_execute(back);
    }
    fftw_destroy_plan(forward);
    fftw_destroy_plan(back);
    return planned;
}

enum lw_status lw_autocorrelation(const double *value, size_t n, size_t lags, double *rho,
                                  struct lw_error *error)
{
    size_t length = padded_length(n);
    double *work = fftw_alloc_real(length + 2);
    if (!work) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    memset(work, 0, (length + 2) * sizeof *work);
    memcpy(work, value, n * sizeof *work);
    bool done = correlate(work, length);
    for (size_t k = 0; k <= lags && done; k++) {
        rho[k] = work[0] > 0 ? work[k] / work[0] : (double)(k == 0);
    }
    fftw_free(work);
    return done ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for a transform of %zu", length);
}

// 1 + 2 sum rho_k over the initial positive sequence.
static double variance_inflation(const double *rho, size_t lags)
{
    double sum = 0;
    for (size_t k = 0; k + 1 <= lags; k += 2) {
        double pair = rho[k] + rho[k + 1];
        if (pair <= 0) {
            break;
        }
        sum += pair;
    }
    return 2 * sum - 1;
}

// 1 + 2 sum rho_k^2: up to the last lag before five that say nothing, and at least while all are
// positive.
static double spread_inflation(const double *rho, size_t lags, size_t n)
{
    enum { QUIET = 5 };
    double band = 2 * sqrt(log10((double)n) / (double)n);
    double sum = 0, since = 0;
    int quiet = 0;
    bool positive = true;
    for (size_t k = 1; k <= lags && quiet < QUIET; k++) {
        positive = positive && rho[k] > 0;
        since += rho[k] * rho[k];
        quiet++;
        if (positive || fabs(rho[k]) >= band) {
            sum += since;
            since = 0;
            quiet = 0;
        }
    }
    return 1 + 2 * sum;
}

// Lag-1 correlation as it was before a line was fitted: the fit makes residuals look less alike, by
// (2 + 4 rho)/n (Kendall 1954 for the mean alone: (1 + 3 rho)/n).
static double before_the_fit(double rho, double n)
{
    return fmin(rho + (2 + 4 * rho) / n, 1 - 2 / n);
}

enum lw_status lw_effective_n(const double *value, size_t n, double *for_mean, double *for_spread,
                              struct lw_error *error)
{
    double all = (double)n;
    *for_mean = *for_spread = all;
    if (n < 4) {
        return LW_OK;
    }
    size_t lags = n / 2;
    double *rho = malloc((lags + 1) * sizeof *rho);
    if (!rho) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    enum lw_status status = lw_autocorrelation(value, n, lags, rho, error);
    if (!status) {
        double near = before_the_fit(rho[1], all);
        double mean = fmax(variance_inflation(rho, lags), (1 + near) / (1 - near));
        double spread = fmax(spread_inflation(rho, lags, n), (1 + near * near) / (1 - near * near));
        *for_mean = all / fmin(fmax(mean, 1), all);
        *for_spread = all / fmin(spread, all);
    }
    free(rho);
    return status;
}
