// SPDX-License-Identifier: GPL-3.0-or-later
//
// Both likelihoods are profiled over the level of the spectrum. That of the power law has one root,
// found by halves; that of the autoregression needs two sums only, whatever its parameter.
#include "stats/steepness.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>

enum { FEWEST = 16, HALVINGS = 30 };

static const double clearly_likelier = 2; // log likelihood
static const double flattest = -1, steepest = 4, most_alike = 0.995;

// The periodogram at k / n, k = 1..count, and the centred logarithms of k.
struct periodogram {
    size_t n, count;
    double *power, *log_k, mean_log_k;
    double log_k_squares;
    double total, total_cosine; // of the powers, of powers times cos(2 pi k / n)
};

static void periodogram_finish(struct periodogram *periodogram)
{
    free(periodogram->power);
}

static enum lw_status transform(const double *residual, size_t n, double *power, size_t count,
                                struct lw_error *error)
{
    double *work = fftw_alloc_real(n + 2);
    fftw_complex *spectrum = (fftw_complex *)work;
    fftw_plan plan =
        work != NULL ? fftw_plan_dft_r2c_1d((int)n, work, spectrum, FFTW_ESTIMATE) : NULL;
    if (plan == NULL) {
        fftw_free(work);
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    for (size_t i = 0; i < n; i++) {
        work[i] = residual[i];
    }
    fftw_execute(plan);
    for (size_t k = 1; k <= count; k++) {
        power[k - 1] = work[2 * k] * work[2 * k] + work[2 * k + 1] * work[2 * k + 1];
    }
    fftw_destroy_plan(plan);
    fftw_free(work);
    return LW_OK;
}

static enum lw_status periodogram_start(struct periodogram *periodogram, const double *residual,
                                        size_t n, struct lw_error *error)
{
    size_t count = (n - 1) / 2;
    *periodogram =
        (struct periodogram){.n = n, .count = count, .power = malloc(2 * count * sizeof(double))};
    if (periodogram->power == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    periodogram->log_k = periodogram->power + count;
    for (size_t k = 0; k < count; k++) {
        periodogram->log_k[k] = log((double)(k + 1));
        periodogram->mean_log_k += periodogram->log_k[k] / (double)count;
    }
    enum lw_status status = transform(residual, n, periodogram->power, count, error);
    for (size_t k = 0; k < count && status == LW_OK; k++) {
        double power = periodogram->power[k];
        periodogram->log_k[k] -= periodogram->mean_log_k;
        periodogram->log_k_squares += periodogram->log_k[k] * periodogram->log_k[k];
        periodogram->total += power;
        periodogram->total_cosine += power * cos(2 * M_PI * (double)(k + 1) / (double)n);
    }
    return status;
}

// Mean of the powers, each made level by the power law; *tilt is above 0 where that law is too
// steep.
static double levelled(const struct periodogram *periodogram, double slope, double *tilt)
{
    double sum = 0;
    *tilt = 0;
    for (size_t k = 0; k < periodogram->count; k++) {
        double level = periodogram->power[k] * exp(slope * periodogram->log_k[k]);
        sum += level;
        *tilt += level * periodogram->log_k[k];
    }
    return sum / (double)periodogram->count;
}

static double fit_slope(const struct periodogram *periodogram, double *minus_log_likelihood)
{
    double low = flattest, high = steepest, tilt;
    for (int i = 0; i < HALVINGS && high - low > 1e-4; i++) {
        double middle = (low + high) / 2;
        levelled(periodogram, middle, &tilt);
        *(tilt > 0 ? &high : &low) = middle;
    }
    double slope = (low + high) / 2;
    *minus_log_likelihood = (double)periodogram->count * log(levelled(periodogram, slope, &tilt));
    return slope;
}

// The sum over k of the logarithms of 1 - 2 rho cos(2 pi k / n) + rho^2 comes from their product
// over all n frequencies, (1 - rho^n)^2.
static double autoregression(const struct periodogram *periodogram, double rho)
{
    double logs = log1p(-pow(fabs(rho), (double)periodogram->n)) - log1p(-rho);
    if (periodogram->n % 2 == 0) {
        logs -= log1p(rho);
    }
    double sum = (1 + rho * rho) * periodogram->total - 2 * rho * periodogram->total_cosine;
    return (double)periodogram->count * log(sum / (double)periodogram->count) - logs;
}

static double fit_rho(const struct periodogram *periodogram, double *minus_log_likelihood)
{
    enum { STEPS = 400 };
    double best = 0;
    *minus_log_likelihood = INFINITY;
    for (int i = -STEPS; i <= STEPS; i++) {
        double rho = most_alike * i / STEPS, here = autoregression(periodogram, rho);
        if (here < *minus_log_likelihood) {
            *minus_log_likelihood = here;
            best = rho;
        }
    }
    return best;
}

// What a spectrum of mean `sum` / count is worth.
struct worth {
    double for_slope; // share of the readings
    double degrees;   // of freedom, for the spread
};

static double degrees(double sum, double squares)
{
    return 2 * sum * sum / squares;
}

// Sum and sum of squares of k^-slope, k centred.
static double power_law(const struct periodogram *periodogram, double slope, double *squares)
{
    double sum = 0;
    *squares = 0;
    for (size_t k = 0; k < periodogram->count; k++) {
        double level = exp(-slope * periodogram->log_k[k]);
        sum += level;
        *squares += level * level;
    }
    return sum;
}

// The mean of k^-slope weighed with j1(pi k)^2 over all k from 0: Weber and Schafheitlin's
// integral, which ends at 3.
static double heard_by_slope(double slope)
{
    double a = fmin(slope, 2.5);
    double log_integral = lgamma(1 + a) + lgamma(1.5 - a / 2) - (1 + a) * M_LN2 -
                          2 * lgamma(1 + a / 2) - lgamma(2.5 + a / 2);
    return 3 * exp(a * log(M_PI) + log_integral);
}

static struct worth worth_of_slope(const struct periodogram *periodogram, double slope)
{
    double squares, steeper = fmax(slope + 1 / sqrt(periodogram->log_k_squares), 0);
    double a = fmax(slope, 0);
    double mean = power_law(periodogram, a, &squares) / (double)periodogram->count;
    double sum = power_law(periodogram, steeper, &squares);
    return (struct worth){mean / (exp(a * periodogram->mean_log_k) * heard_by_slope(a)),
                          degrees(sum, squares)};
}

static struct worth worth_of_rho(const struct periodogram *periodogram, double rho)
{
    double n = (double)periodogram->n, alike = fabs(rho), sum = 0, squares = 0;
    // The fit of the line made the residuals look less alike (after Kendall 1954).
    double fitted = (2 + 4 * alike) / n;
    double most = fmin(alike + fitted + sqrt(fmax(1 - alike * alike, 0) / n), most_alike);
    for (size_t k = 1; k <= periodogram->count; k++) {
        double level = 1 / (1 - 2 * most * cos(2 * M_PI * (double)k / n) + most * most);
        sum += level;
        squares += level * level;
    }
    double near = fmin(fmax(rho + fitted, 0), most_alike);
    return (struct worth){(1 - near) / (1 + near), degrees(sum, squares)};
}

static struct worth worth_of(const struct periodogram *periodogram)
{
    double falling, alike;
    double slope = fit_slope(periodogram, &falling), rho = fit_rho(periodogram, &alike);
    return alike < falling - clearly_likelier ? worth_of_rho(periodogram, rho)
                                              : worth_of_slope(periodogram, slope);
}

enum lw_status lw_effective_n_steep(const double *residual, size_t n, double *for_slope,
                                    double *for_spread, struct lw_error *error)
{
    struct periodogram periodogram;
    *for_slope = *for_spread = (double)n;
    if (n < FEWEST) {
        return LW_OK;
    }
    enum lw_status status = periodogram_start(&periodogram, residual, n, error);
    if (status == LW_OK && periodogram.total > 0) {
        struct worth worth = worth_of(&periodogram);
        *for_slope = fmin(fmax(worth.for_slope * (double)n, 1), (double)n);
        *for_spread = fmin(worth.degrees + 1, (double)n);
    }
    periodogram_finish(&periodogram);
    return status;
}
