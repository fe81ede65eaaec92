// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fourier sums over uneven times at evenly spaced frequencies, by a fast transform: each value is
// spread over 12 points of a grid twice as fine with the Kaiser-Bessel window's transform pair, the
// grid is transformed, and the window is divided out (Potts, Steidl and Tasche 2001).
#ifndef LW_STATS_NONUNIFORM_H
#define LW_STATS_NONUNIFORM_H

#include "base/error.h"

#include <complex.h>
#include <stddef.h>

// sum[half + k] = sum over j of strength[j] exp(-2 pi i k turn[j]), for k = -half..half. turn[j] is
// 0 or more; only its fraction counts. Strength has n, sum 2 half + 1 numbers. Error below 1e-11 of
// the sum of the strengths' sizes. LW_MEMORY; LW_USAGE when half is over 2^28.
enum lw_status lw_nonuniform_sums(const double *turn, size_t n, const double complex *strength,
                                  size_t half, double complex *sum, struct lw_error *error);

#endif
