// SPDX-License-Identifier: GPL-3.0-or-later
//
// Quantiles of the distributions that bounds are made of. GSL's own inverse functions fail at
// ordinary arguments (its beta quantile at 3 errors in 864 already), so each quantile is searched
// here: a bracket, then Brent's method in the logarithm of x on GSL's distribution function. A
// result is given only if the distribution function gives the probability back.
#ifndef LW_STATS_QUANTILE_H
#define LW_STATS_QUANTILE_H

#include "base/error.h"

// Which tail a probability names: that of values at most x, or that of values above x. Small
// probabilities keep their precision when their own tail is named.
enum lw_tail { LW_TAIL_BELOW, LW_TAIL_ABOVE };

// All: 0 < probability < 1. Degrees of freedom and shapes are finite, above 0, need not be whole.
// LW_USAGE for arguments outside of these, LW_GARBLED where no trustworthy number was found (then
// *x is NAN); never a wrong number. Relative accuracy better than 1e-9 for probabilities of 1e-9
// and more, 2e-9 below.
enum lw_status lw_quantile_normal(enum lw_tail tail, double probability, double *x,
                                  struct lw_error *error);
enum lw_status lw_quantile_t(enum lw_tail tail, double probability, double dof, double *x,
                             struct lw_error *error);
enum lw_status lw_quantile_chi_square(enum lw_tail tail, double probability, double dof, double *x,
                                      struct lw_error *error);
enum lw_status lw_quantile_f(enum lw_tail tail, double probability, double dof_above,
                             double dof_below, double *x, struct lw_error *error);
enum lw_status lw_quantile_beta(enum lw_tail tail, double probability, double a, double b,
                                double *x, struct lw_error *error);

#endif
