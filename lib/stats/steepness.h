// SPDX-License-Identifier: GPL-3.0-or-later
//
// How little readings may be worth when their noise is slow. A run that happens to miss the slow
// swings looks quieter and less alike than it is, both at once, so a bound that takes the
// autocorrelation as it was seen holds too seldom. Here the shape of the spectrum speaks, which all
// its frequencies tell together.
#ifndef LW_STATS_STEEPNESS_H
#define LW_STATS_STEEPNESS_H

#include "base/error.h"

#include <stddef.h>

// Effective numbers, 1..n, of n residuals about a straight line. Two shapes of spectrum S are
// fitted over the frequencies k / n by Whittle's likelihood (1953): a power law k^-a, and a
// first-order autoregression; the latter is taken where its log likelihood is larger by 2.
// `for_spread`, for an upper bound: 2 (sum S)^2 / sum S^2 degrees of freedom and one more (Blackman
// and Tukey 1958), S made steeper by the standard uncertainty of its parameter.
// `for_slope`, for the uncertainty of a slope: n times the mean of S over the mean that a fitted
// slope hears, which weighs the frequency k / n with j1(pi k)^2, j1 the spherical Bessel function.
// n below 16, or residuals that are all zero: n. LW_MEMORY.
enum lw_status lw_effective_n_steep(const double *residual, size_t n, double *for_slope,
                                    double *for_spread, struct lw_error *error);

#endif
