// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the plan says of the data pair that shares the cable with the supply.
#ifndef LW_CHECK_SUPPLY_LINE_H
#define LW_CHECK_SUPPLY_LINE_H

#include "site/plan.h"
#include "site/record.h"

struct lw_supply_line {
    double unit_loads;  // of the fullest segment, controller and tester with it; NAN: not known
    double idle_v;      // D1 over D0 where the bias is; NAN: the plan has no bias
    double threshold_v; // what the least willing receiver there needs
    bool too_many_loads, idle_undefined;
};

// Pure. 32 unit loads, TIA/EIA-485; four fewer with a bias, "MODBUS over Serial Line" V1.02, 3.4.6.
void lw_supply_line(const struct lw_plan *plan, struct lw_supply_line *line);
void lw_supply_line_findings(const struct lw_plan *plan, struct lw_findings *findings);

#endif
