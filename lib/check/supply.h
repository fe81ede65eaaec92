// SPDX-License-Identifier: GPL-3.0-or-later
//
// Supply: draw against capacity along the chain as the plan has it, and beside it what the nodes'
// own voltmeters say.
#ifndef LW_CHECK_SUPPLY_H
#define LW_CHECK_SUPPLY_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_supply_tap {
    int tap;
    char *node;
    double volts, zero_rise_v, minimum_v, maximum_v;
    bool on;
    double worst_volts, under_probability; // NAN: not computed
    bool worst_on;
    double cold_volts;
    bool cold_on;
    double measured_v, measured_u_v; // NAN: not measured; standard uncertainty
};
struct lw_supply_span {
    int span;
    double amps, rated_a, ohm_plan;
    double ohm_measured, ohm_u95, ratio_to_plan, smallest_visible_ohm; // NAN: not measured
};
struct lw_supply_supply {
    char *name;
    int tap;
    double amps, limit_a, load_pct;
    char *mode; // "voltage", "limited", "blocking", "off"
};
struct lw_supply_result {
    bool operating_point; // of the asked state: all on
    double carries_nodes, load_factor;
    bool cold_start_trap, resets_in_turn;
    struct lw_list taps;       // of struct lw_supply_tap
    struct lw_list spans;      // of struct lw_supply_span
    struct lw_list supplies;   // of struct lw_supply_supply
    double idle_v, unit_loads; // NAN: the plan does not say
    double measured_nodes;
    double weak_span;                     // span with more resistance than planned; 0: none proved
    double weak_span_low, weak_span_high; // spans that cannot be told apart from it; 0: none
    double weak_extra_ohm;                // at the planned currents; NAN: none
};
extern const struct lw_shape lw_supply_shape;
extern const struct lw_shape *const lw_supply_tap_shape;
extern const struct lw_shape *const lw_supply_span_shape;
extern const struct lw_shape *const lw_supply_supply_shape;

// What was read of the supply, one per tap; NAN where nothing was.
struct lw_supply_measured {
    size_t tap_count;
    double *volts;
    bool *answered; // the node was there at all
    bool *asked;
};

enum lw_status lw_supply_compute(const struct lw_plan *plan, struct lw_supply_result *result,
                                 struct lw_error *error);
enum lw_status lw_supply_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan, const bool *selected,
                                 struct lw_supply_measured *measured, struct lw_error *error);
void lw_supply_measured_free(struct lw_supply_measured *measured);
// Puts what was measured beside what was computed and looks for a weak span. Pure.
enum lw_status lw_supply_judge(const struct lw_plan *plan,
                               const struct lw_supply_measured *measured,
                               struct lw_supply_result *result, struct lw_error *error);
// `measured` may be NULL (a plan alone).
void lw_supply_findings(const struct lw_plan *plan, const struct lw_supply_measured *measured,
                        const struct lw_supply_result *result, struct lw_rule *rule,
                        struct lw_findings *findings);

#endif
