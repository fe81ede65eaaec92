// SPDX-License-Identifier: GPL-3.0-or-later
//
// How little readings may be worth for a spread when their noise is slow. A run that happens to
// miss the slow swings looks quieter and less alike than it is, both at once, so an upper bound
// that takes the autocorrelation as it was seen holds too seldom. Here the shape of the spectrum
// speaks, which all its frequencies tell together.
#ifndef LW_STATS_STEEPNESS_H
#define LW_STATS_STEEPNESS_H

#include "base/error.h"

#include <stddef.h>

// Effective number, 1..n, of n residuals about a straight line, for an upper bound of their spread:
// 2 (sum S)^2 / sum S^2 degrees of freedom over the frequencies k / n of a spectrum S, and one more
// (Blackman and Tukey 1958). Two shapes are fitted by Whittle's likelihood (1953): a power law
// k^-a, and a first-order autoregression; the latter is taken where its log likelihood is larger by
// 2. Either is made steeper by the standard uncertainty of its parameter. n below 16, or residuals
// that are all zero: n. LW_MEMORY.
enum lw_status lw_effective_n_steep(const double *residual, size_t n, double *for_spread,
                                    struct lw_error *error);

#endif
