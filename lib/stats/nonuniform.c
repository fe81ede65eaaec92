// SPDX-License-Identifier: GPL-3.0-or-later
//
// The spread window is sinh(b sqrt(m^2 - u^2)) / (pi sqrt(m^2 - u^2)) over |u| <= m grid steps; its
// transform at k of N points is I0(m sqrt(b^2 - (2 pi k / N)^2)), b = pi (2 - 1 / oversampling).
#include "stats/nonuniform.h"

#include <assert.h>
#include <fftw3.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { REACH = 7, WIDTH = 2 * REACH, MOST_SETS = 2 };

static const double least_oversampling = 2;

struct grid {
    size_t sets;
    size_t length;
    double shape; // b
    fftw_complex *points[MOST_SETS];
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
}

static enum lw_status start(struct grid *grid, size_t modes, struct lw_error *error)
{
    grid->length = grid_length(modes);
    grid->shape = M_PI * (2 - (double)modes / (double)grid->length);
    for (size_t set = 0; set < grid->sets; set++) {
        grid->points[set] = fftw_alloc_complex(grid->length);
        if (!grid->points[set]) {
            return lw_fail(error, LW_MEMORY, "no memory for a spectrum of %zu points", modes);
        }
        for (size_t i = 0; i < grid->length; i++) {
            grid->points[set][i] = 0;
        }
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

static enum lw_status transform(struct grid *grid, struct lw_error *error)
{
    for (size_t set = 0; set < grid->sets; set++) {
        fftw_plan plan = fftw_plan_dft_1d((int)grid->length, grid->points[set], grid->points[set],
                                          FFTW_FORWARD, FFTW_ESTIMATE);
        if (!plan) {
            return lw_fail(error, LW_MEMORY, "no memory for a transform of %zu", grid->length);
        }
        fftw_execute(plan);
        fftw_destroy_plan(plan);
    }
    return LW_OK;
}

static void divide(const struct grid *grid, size_t half, double complex *const *sum)
{
    for (size_t k = 0; k <= half; k++) {
        double turn = 2 * M_PI * (double)k / (double)grid->length;
        double window = gsl_sf_bessel_I0(REACH * sqrt(grid->shape * grid->shape - turn * turn));
        for (size_t set = 0; set < grid->sets; set++) {
            sum[set][half + k] = grid->points[set][k] / window;
            sum[set][half - k] = grid->points[set][k ? grid->length - k : 0] / window;
        }
    }
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
        status = transform(&grid, error);
    }
    if (!status) {
        divide(&grid, half, sum);
    }
    finish(&grid);
    return status;
}
