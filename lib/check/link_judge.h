// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the judge of a line and its findings share.
#ifndef LW_CHECK_LINK_JUDGE_H
#define LW_CHECK_LINK_JUDGE_H

#include "check/link.h"

#include <stdint.h>

// The plan's limit for the pooled error rate, else 1e-3.
double lw_link_limit(const struct lw_plan *plan);

// Errors in `events` clusters among `polls`, as the equivalent number of independent ones.
void lw_link_independent(double errors, double polls, double bursts, double events,
                         uint64_t *independent_errors, uint64_t *independent_polls);

#endif
