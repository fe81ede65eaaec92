// SPDX-License-Identifier: GPL-3.0-or-later
//
// How alike readings are that follow each other, and so how many independent ones they are worth.
#ifndef LW_STATS_CORRELATION_H
#define LW_STATS_CORRELATION_H

#include "base/error.h"

#include <stddef.h>

// Autocorrelation at lags 0..lags of n values about zero (take the mean or the drift off first):
// rho[k] = sum v_i v_(i+k) / sum v_i^2, by a fast Fourier transform. rho has room for lags + 1;
// lags < n. All zero but rho[0] = 1 when the values are all zero. LW_MEMORY.
enum lw_status lw_autocorrelation(const double *value, size_t n, size_t lags, double *rho,
                                  struct lw_error *error);

// n / (1 + 2 sum rho_k) and n / (1 + 2 sum rho_k^2), each 1..n, of residuals about a straight line.
// A sum over all lags would add up nothing but noise: the first ends where pairs of neighbouring
// lags stop being positive (Geyer 1992, initial positive sequence), the second where the
// correlation is no longer positive and five lags in a row stay inside 2 sqrt(log10 n / n) (Politis
// and White 2004). Neither falls below what a first-order autoregression with the lag-1 correlation
// would have, this one corrected for what the fit of the line took from it: short series show too
// little of it. LW_MEMORY.
enum lw_status lw_effective_n(const double *value, size_t n, double *for_mean, double *for_spread,
                              struct lw_error *error);

#endif
