// SPDX-License-Identifier: GPL-3.0-or-later
//
// Did switching a source on change these readings? Four stretches of readings, off, on, on, off: a
// steady drift moves both pairs alike and cancels.
#ifndef LW_STATS_SWITCHED_H
#define LW_STATS_SWITCHED_H

#include "base/error.h"
#include "stats/spread.h"

#include <stdbool.h>

// `shift`: how much higher the readings are with the source on, its standard uncertainty and
// degrees of freedom (Welch and Satterthwaite), and the probability of as large a shift, up or
// down, from nothing. `ratio`: noise on over noise off, pooled, its one-sided 95 % bounds, and the
// probability of as large a ratio, above or below 1, from nothing (F test with effective numbers of
// readings; readings of about normal distribution). shifted and changed: significant at 5 % shared
// among `together` nodes and both questions. A steady field shifts and does not change, an
// alternating one changes.
struct lw_switched {
    double shift, shift_u, shift_dof, shift_p;
    double ratio, ratio_low95, ratio_high95, ratio_p;
    bool shifted, changed;
};

// stretch[0..3] are the spreads of the four stretches in their order in time, of about equal length
// and spacing; each with noise above 0 and more than two effective readings, for a spread and for a
// mean, else LW_USAGE. together >= 1. LW_GARBLED where no trustworthy bound was found.
enum lw_status lw_switched_of(const struct lw_spread stretch[4], unsigned together,
                              struct lw_switched *switched, struct lw_error *error);

#endif
