// SPDX-License-Identifier: GPL-3.0-or-later
//
// The spread window is sinh(b sqrt(m^2 - u^2)) / (pi sqrt(m^2 - u^2)) over |u| <= m grid steps; its
// transform at k of N points is I0(m sqrt(b^2 - (2 pi k / N)^2)), b = pi (2 - 1 / oversampling).
// Both are needed so often that polynomials stand for them: one for each grid step of the window,
// where those of +u and -u share their even and odd parts, and one for the transform.
#include "stats/nonuniform.h"

#include <fftw3.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { REACH = 6, WIDTH = 2 * REACH, OVERSAMPLING = 2, TERMS = 16, PAIRS = TERMS / 2 };

static const double shape = M_PI * (2 - 1.0 / OVERSAMPLING); // b

// For the grid points before a place: coefficients of even and odd powers of x, highest last, where
// x = -1..1 is how far behind the last of them the place is, 0..1 steps.
struct window {
    double even[PAIRS][REACH], odd[PAIRS][REACH];
};

struct grid {
    size_t length;
    fftw_complex *points;
    fftw_plan plan; // in place
    struct window window;
};

// Coefficients of 1, x, x^2 ... of a function of x = -1..1, which the first TERMS Chebyshev
// polynomials stand for.
static void to_powers(double (*function)(double x, double at), double at, double coefficient[TERMS])
{
    double value[TERMS], before[TERMS] = {0}, now[TERMS] = {1};
    memset(coefficient, 0, TERMS * sizeof *coefficient);
    for (size_t q = 0; q < TERMS; q++) {
        value[q] = function(cos(M_PI * ((double)q + 0.5) / TERMS), at);
    }
    for (size_t k = 0; k < TERMS; k++) {
        double sum = 0, next[TERMS] = {0};
        for (size_t q = 0; q < TERMS; q++) {
            sum += value[q] * cos(M_PI * (double)k * ((double)q + 0.5) / TERMS);
        }
        for (size_t d = 0; d < TERMS; d++) {
            coefficient[d] += (k > 0 ? 2 : 1) * sum / TERMS * now[d];
            next[d] = (d > 0 ? (k > 0 ? 2 : 1) * now[d - 1] : 0) - before[d];
        }
        memcpy(before, now, sizeof before);
        memcpy(now, next, sizeof now);
    }
}

static double window_at(double x, double first)
{
    double u = first + (x + 1) / 2;
    double root = sqrt(fmax(REACH * REACH - u * u, 1e-12));
    return sinh(shape * root) / (M_PI * root);
}

static void fill_window(struct window *window)
{
    double powers[TERMS];
    for (int i = 0; i < REACH; i++) {
        to_powers(window_at, REACH - 1 - i, powers);
        for (size_t d = 0; d < PAIRS; d++) {
            window->even[d][i] = powers[2 * d];
            window->odd[d][i] = powers[2 * d + 1];
        }
    }
}

// One over the window's transform where the square of k is (x + 1) / 2 of the square of the highest
// one, which is `turn` along the circle.
static double correction_at(double x, double turn)
{
    return 1 / gsl_sf_bessel_I0(REACH * sqrt(shape * shape - turn * turn * (x + 1) / 2));
}

static bool is_smooth(size_t length)
{
    for (size_t factor = 2; factor <= 5; factor++) {
        while (length % factor == 0) {
            length /= factor;
        }
    }
    return length == 1;
}

// A length that transforms fast: factors 2, 3 and 5 only, and some of 2.
static size_t grid_length(size_t modes)
{
    size_t step = modes > 4096 ? 256 : 4;
    size_t length = OVERSAMPLING * modes;
    length = length < 4 * WIDTH ? 4 * WIDTH : (length + step - 1) / step * step;
    while (!is_smooth(length)) {
        length += step;
    }
    return length;
}

static void finish(struct grid *grid)
{
    fftw_free(grid->points);
    fftw_destroy_plan(grid->plan);
}

static enum lw_status start(struct grid *grid, size_t modes, struct lw_error *error)
{
    *grid = (struct grid){.length = grid_length(modes)};
    grid->points = fftw_alloc_complex(grid->length);
    if (grid->points != NULL) {
        grid->plan = fftw_plan_dft_1d((int)grid->length, grid->points, grid->points, FFTW_FORWARD,
                                      FFTW_ESTIMATE);
    }
    if (grid->plan == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a spectrum of %zu points", modes);
    }
    memset(grid->points, 0, grid->length * sizeof *grid->points);
    fill_window(&grid->window);
    return LW_OK;
}

// Weights at the WIDTH grid points around a place, `off` (0..1) behind the REACH-th of them.
static void weigh(const struct window *window, double off, double weight[WIDTH])
{
    double x = 2 * off - 1, square = x * x;
    double even[REACH], odd[REACH];
    for (int i = 0; i < REACH; i++) {
        even[i] = window->even[PAIRS - 1][i];
        odd[i] = window->odd[PAIRS - 1][i];
    }
    for (int d = PAIRS - 2; d >= 0; d--) {
        for (int i = 0; i < REACH; i++) {
            even[i] = even[i] * square + window->even[d][i];
            odd[i] = odd[i] * square + window->odd[d][i];
        }
    }
    for (int i = 0; i < REACH; i++) {
        weight[i] = even[i] + x * odd[i];
        weight[WIDTH - 1 - i] = even[i] - x * odd[i];
    }
}

static void spread(struct grid *grid, const double *turn, size_t n, const double complex *strength)
{
    double weight[WIDTH];
    for (size_t j = 0; j < n; j++) {
        double place = (turn[j] - floor(turn[j])) * (double)grid->length;
        double below = floor(place);
        weigh(&grid->window, place - below, weight);
        size_t at = ((size_t)below + grid->length - (REACH - 1)) % grid->length;
        double real = creal(strength[j]), imaginary = cimag(strength[j]);
        for (int i = 0; i < WIDTH; i++) {
            double *point = (double *)&grid->points[at];
            point[0] += weight[i] * real;
            point[1] += weight[i] * imaginary;
            at = at + 1 < grid->length ? at + 1 : 0;
        }
    }
}

// Transforms the grid and divides the window's transform out.
static void transform(struct grid *grid, size_t half, double complex *sum)
{
    double powers[TERMS];
    to_powers(correction_at, 2 * M_PI * (double)half / (double)grid->length, powers);
    fftw_execute(grid->plan);
    memcpy(sum + half, grid->points, (half + 1) * sizeof *sum);
    memcpy(sum, grid->points + grid->length - half, half * sizeof *sum);
    for (size_t k = 0; k <= half; k++) {
        double part = half > 0 ? (double)k / (double)half : 0;
        double x = 2 * part * part - 1, correction = powers[TERMS - 1];
        for (int d = TERMS - 2; d >= 0; d--) {
            correction = correction * x + powers[d];
        }
        sum[half + k] *= correction;
        sum[half - k] *= k > 0 ? correction : 1;
    }
}

enum lw_status lw_nonuniform_sums(const double *turn, size_t n, const double complex *strength,
                                  size_t half, double complex *sum, struct lw_error *error)
{
    if (half > (size_t)1 << 28) {
        return lw_fail(error, LW_USAGE, "a spectrum of %zu points is too long", half);
    }
    struct grid grid;
    enum lw_status status = start(&grid, 2 * half + 1, error);
    if (!status) {
        spread(&grid, turn, n, strength);
        transform(&grid, half, sum);
    }
    finish(&grid);
    return status;
}
