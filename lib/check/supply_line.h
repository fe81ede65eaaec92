// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the plan says of the data pair that shares the cable with the supply.
#ifndef LW_CHECK_SUPPLY_LINE_H
#define LW_CHECK_SUPPLY_LINE_H

#include "check/supply.h"

struct lw_supply_line {
    double unit_loads;  // of the fullest segment, controller and tester with it; NAN: not known
    double idle_v;      // D1 over D0 where the bias is; NAN: the plan has no bias
    double threshold_v; // what the least willing receiver there needs
    double driver_ohm;  // least that a driver sees; NAN: not known
    bool too_many_loads, idle_undefined, driver_overloaded;
    size_t segments, terminators;
    bool terminated_wrong; // known and not one at each end; judged on lines of one segment, since a
                           // plan does not say on which side of a repeater a terminator sits
    double length_m;       // of the pair, from the plan or its spans; NAN: not known
    double usual_m, careful_m;            // rules of thumb for length at this rate
    double stub_m, longest_stub_m;        // as planned; rule of thumb at the slowest edges allowed
    double cycle_wire_s, cycle_slowest_s; // one reading of each node; NAN: no node to read
};

// Pure. 32 unit loads, TIA/EIA-485; four fewer with a bias, "MODBUS over Serial Line" V1.02, 3.4.6;
// one terminator at each end, 3.4.5; the rules of thumb as in power/line_budget.h.
void lw_supply_line(const struct lw_plan *plan, struct lw_supply_line *line);
void lw_supply_line_result(const struct lw_plan *plan, struct lw_supply_result *result);
// `result` gives the rise of 0 V.
void lw_supply_line_findings(const struct lw_plan *plan, const struct lw_supply_result *result,
                             struct lw_findings *findings);

#endif
