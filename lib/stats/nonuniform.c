// SPDX-License-Identifier: GPL-3.0-or-later
//
// The spread window is sinh(b sqrt(m^2 - u^2)) / (pi sqrt(m^2 - u^2)) over |u| <= m grid steps; its
// transform at k of N points is I0(m sqrt(b^2 - (2 pi k / N)^2)), b = pi (2 - 1 / oversampling).
#include "stats/nonuniform.h"

#include <assert.h>
#include <fftw3.h>
#include <gsl/gsl_chebyshev.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { REACH = 7, WIDTH = 2 * REACH, MOST_SETS = 2, DEGREE = 18 };

static const double least_oversampling = 1.5;

struct grid {
    size_t sets;
    size_t length;
    double shape; // b
    fftw_complex *points[MOST_SETS];
    fftw_complex *transformed; // of one set at a time
    fftw_plan plan;            // from the first set's points
};

static bool is_smooth(size_t length)
{
    for (size_t factor = 2; factor <= 5; factor++) {
        while (length % factor == 0) {
            length /= factor;
        }
    }
    return length == 1;
}

// A length that transforms fast: factors 2, 3 and 5 only.
static size_t grid_length(size_t modes)
{
    size_t length = (size_t)ceil(least_oversampling * (double)modes);
    length = length < 4 * WIDTH ? 4 * WIDTH : length + length % 2;
    while (!is_smooth(length)) {
        length += 2;
    }
    return length;
}

static void finish(struct grid *grid)
{
    for (size_t set = 0; set < grid->sets; set++) {
        fftw_free(grid->points[set]);
    }
    fftw_free(grid->transformed);
    fftw_destroy_plan(grid->plan);
}

static enum lw_status start(struct grid *grid, size_t modes, struct lw_error *error)
{
    grid->length = grid_length(modes);
    grid->shape = M_PI * (2 - (double)modes / (double)grid->length);
    grid->transformed = fftw_alloc_complex(grid->length);
    bool whole = grid->transformed != NULL;
    for (size_t set = 0; set < grid->sets; set++) {
        grid->points[set] = fftw_alloc_complex(grid->length);
        whole = whole && grid->points[set];
    }
    if (whole) {
        grid->plan = fftw_plan_dft_1d((int)grid->length, grid->points[0], grid->transformed,
                                      FFTW_FORWARD, FFTW_ESTIMATE);
    }
    if (!whole || !grid->plan) {
        return lw_fail(error, LW_MEMORY, "no memory for a spectrum of %zu points", modes);
    }
    for (size_t set = 0; set < grid->sets; set++) {
        memset(grid->points[set], 0, grid->length * sizeof *grid->points[set]);
    }
    return LW_OK;
}

// Weights at the WIDTH grid points around a place, `off` (0..1) behind the REACH-th of them.
static void window(double shape, double off, double weight[WIDTH])
{
    for (int i = 0; i < WIDTH; i++) {
        double u = off + REACH - 1 - i;
        double root = sqrt(fmax(REACH * REACH - u * u, 1e-12));
        double rise = exp(shape * root);
        weight[i] = (rise - 1 / rise) / (2 * M_PI * root);
    }
}

static void spread(struct grid *grid, const double *turn, size_t n,
                   const double complex *const *strength)
{
    double weight[WIDTH];
    for (size_t j = 0; j < n; j++) {
        double place = (turn[j] - floor(turn[j])) * (double)grid->length;
        double below = floor(place);
        window(grid->shape, place - below, weight);
        size_t at = ((size_t)below + grid->length - (REACH - 1)) % grid->length;
        for (int i = 0; i < WIDTH; i++) {
            for (size_t set = 0; set < grid->sets; set++) {
                grid->points[set][at] += weight[i] * strength[set][j];
            }
            at = at + 1 < grid->length ? at + 1 : 0;
        }
    }
}

static double log_window(double turn, void *user)
{
    const struct grid *grid = user;
    return log(gsl_sf_bessel_I0(REACH * sqrt(grid->shape * grid->shape - turn * turn)));
}

// Transforms each set and divides the window's transform out. That is smooth, so a Chebyshev series
// of its logarithm stands for it, which is faster than a Bessel function for each.
static enum lw_status transform(struct grid *grid, size_t half, double complex *const *sum,
                                struct lw_error *error)
{
    double step = 2 * M_PI / (double)grid->length;
    gsl_cheb_series *series = gsl_cheb_alloc(DEGREE);
    if (!series) {
        return lw_fail(error, LW_MEMORY, "no memory for a series of degree %d", DEGREE);
    }
    gsl_function function = {log_window, grid};
    gsl_cheb_init(series, &function, 0, step * (double)half);
    for (size_t set = 0; set < grid->sets; set++) {
        fftw_execute_dft(grid->plan, grid->points[set], grid->transformed);
        memcpy(sum[set] + half, grid->transformed, (half + 1) * sizeof **sum);
        memcpy(sum[set], grid->transformed + grid->length - half, half * sizeof **sum);
    }
    for (size_t k = 0; k <= half; k++) {
        double part = exp(-gsl_cheb_eval(series, step * (double)k));
        for (size_t set = 0; set < grid->sets; set++) {
            sum[set][half + k] *= part;
            sum[set][half - k] *= k > 0 ? part : 1;
        }
    }
    gsl_cheb_free(series);
    return LW_OK;
}

enum lw_status lw_nonuniform_sums(const double *turn, size_t n, size_t sets,
                                  const double complex *const *strength, size_t half,
                                  double complex *const *sum, struct lw_error *error)
{
    assert(sets >= 1 && sets <= MOST_SETS);
    if (half > (size_t)1 << 28) {
        return lw_fail(error, LW_USAGE, "a spectrum of %zu points is too long", half);
    }
    struct grid grid = {.sets = sets};
    enum lw_status status = start(&grid, 2 * half + 1, error);
    if (!status) {
        spread(&grid, turn, n, strength);
        status = transform(&grid, half, sum, error);
    }
    finish(&grid);
    return status;
}
