// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fourier sums over uneven times at evenly spaced frequencies, by a fast transform: each value is
// spread over 14 points of a finer, even grid with the Kaiser-Bessel window's transform pair, the
// grid is transformed, and the window is divided out (Potts, Steidl and Tasche 2001).
#ifndef LW_STATS_NONUNIFORM_H
#define LW_STATS_NONUNIFORM_H

#include "base/error.h"

#include <complex.h>
#include <stddef.h>

// sum[set][half + k] = sum over j of strength[set][j] exp(-2 pi i k turn[j]), for k = -half..half
// and one or two sets of strengths over the same turns (the spreading is the same). turn[j] is 0 or
// more; only its fraction counts. Each strength has n, each sum 2 half + 1 numbers. Error below
// 1e-10 of the sum of the strengths' sizes for the highest k, 1e-13 for k up to half / 2.
// LW_MEMORY; LW_USAGE when half is over 2^28.
enum lw_status lw_nonuniform_sums(const double *turn, size_t n, size_t sets,
                                  const double complex *const *strength, size_t half,
                                  double complex *const *sum, struct lw_error *error);

#endif
