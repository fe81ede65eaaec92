// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tests whether groups of readings spread alike: a source switched off and on, nodes of one kind
// compared with each other.
#ifndef LW_STATS_TEST_H
#define LW_STATS_TEST_H

#include "base/error.h"

#include <stddef.h>

enum lw_center { LW_ABOUT_MEAN, LW_ABOUT_MEDIAN };

struct lw_test_result {
    double statistic;
    double dof_above, dof_below; // of the F distribution
    double p;                    // probability of a statistic as large when all spread alike
};

// Levene's test (about the mean; Levene 1960) or Brown and Forsythe's (about the median; 1974),
// which holds for readings that are not normal. `value` holds the groups one after the other,
// group_n[g] values each, groups >= 2, at least 2 values in each. LW_USAGE else, LW_MEMORY,
// LW_GARBLED when no group spreads at all.
enum lw_status lw_test_levene(enum lw_center center, const double *value, const size_t *group_n,
                              size_t groups, struct lw_test_result *result, struct lw_error *error);

#endif
