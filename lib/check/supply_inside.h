// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the supply check share. Private to this room.
#ifndef LW_CHECK_SUPPLY_INSIDE_H
#define LW_CHECK_SUPPLY_INSIDE_H

#include "check/supply.h"

// What each node needs and each span stands, per tap from 0, as lib/power takes it: minimum_v with
// drop_out_v counted, 0 where nothing is needed; rated_a INFINITY where there is no rating. To be
// finished even when the init failed.
struct lw_supply_needs {
    double *minimum_v, *rated_a;
};
enum lw_status lw_supply_needs_init(const struct lw_plan *plan, struct lw_supply_needs *needs,
                                    struct lw_error *error);
void lw_supply_needs_finish(struct lw_supply_needs *needs);

// Rating of a span (1-based), its own or the plan's; NAN: none.
double lw_supply_rated_a(const struct lw_plan *plan, size_t span);

// Worst case, highest voltage and probabilities into a result that has its taps.
enum lw_status lw_supply_tolerances(const struct lw_plan *plan,
                                    const struct lw_supply_options *options,
                                    struct lw_supply_result *result, struct lw_error *error);

#endif
