// SPDX-License-Identifier: GPL-3.0-or-later
//
// The cheapest change after which every node has its minimum and its margin: another supply, and at
// which tap, a thicker cable from end to end, or both.
#ifndef LW_CHECK_SUPPLY_ADVISE_H
#define LW_CHECK_SUPPLY_ADVISE_H

#include "check/supply.h"

struct lw_advise_costs {
    double supply; // of one more, with what it takes to fit it; 0 or more
    double cable;  // of a metre of one square millimetre, both rails; 0 or more
};

// Tries every combination of up to two more supplies like the plan's first (one in chains of over
// 64 taps), at every tap, with the cable as it is or of 0.75, 1, 1.5 or 2.5 mm2 wherever that is
// thicker, on the plan as verdicts take it. Sets result->advice. LW_MEMORY, LW_BAD_FILE as
// lw_supply_compute().
enum lw_status lw_supply_advise(const struct lw_plan *plan, const struct lw_advise_costs *costs,
                                struct lw_supply_result *result, struct lw_error *error);

#endif
