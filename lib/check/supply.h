// SPDX-License-Identifier: GPL-3.0-or-later
//
// Supply: draw against capacity along the chain as the plan has it, and beside it what the nodes'
// own voltmeters say.
#ifndef LW_CHECK_SUPPLY_H
#define LW_CHECK_SUPPLY_H

#include "check/meter_file.h"
#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_supply_tap {
    int tap;
    char *node;
    double volts, zero_rise_v, minimum_v, maximum_v;
    bool on;
    double worst_volts; // NAN: not computed
    bool worst_on;
    double under_probability, under_low, under_high; // of a draw, 95 % interval; NAN: not drawn
    double cold_volts;
    bool cold_on;
    double dip_volts; // after a dip of all supplies to LW_SUPPLY_DIP_SHARE
    bool dip_on;
    double highest_v;                // nobody draws, the supply at its upper end
    double measured_v, measured_u_v; // NAN: not measured; standard uncertainty
    double hand_v, hand_u_v;         // by a hand meter between V+ and 0 V; NAN: not measured
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
    char *mode;                      // "voltage", "limited", "blocking", "off"
    double measured_v, measured_u_v; // from the plan or by a hand meter; NAN: not measured
    double measured_a, measured_u_a;
    double cold_amps; // after switching on cold, as a static bound
    char *cold_mode;
};
// The cheapest change that gives every node its margin.
struct lw_supply_advice {
    bool found; // false: nothing on offer suffices; the rest is what comes nearest
    double cost, margin_v;
    double area_mm2;     // of the cable; NAN: as it is
    struct lw_list taps; // of double: where a supply is added
    char *says;
};
struct lw_supply_result {
    char *asked;          // what-if: how the plan was changed for this question; NULL: not at all
    bool operating_point; // of the asked state: all on
    bool collapses;       // there is none though no supply is at its limit
    // Nodes counted from the head that run together above their minimum, and what one more would
    // bring down first ("nothing", "voltage", "supply_limit", "rating", "collapse"), where.
    double carries_nodes;
    char *gives_first, *gives_at;
    double running_nodes; // that are left when all have been on
    double load_factor;
    bool cold_start_trap, dip_trap, resets_in_turn;
    bool start_unsettled; // no rest was found for nodes that wait: likely, not computed
    char *parallel_one, *parallel_other; // supplies on one stretch of both rails; NULL: none
    char *worst_kind;                    // "exact", "bound" or "estimate"
    double draws, seed;                  // 0 draws: no probabilities
    double any_under, any_under_low, any_under_high; // somebody under its minimum; NAN: not drawn
    // The same by shifted draws, where plain ones met none; NAN: not needed or not met.
    double rare_under, rare_under_low, rare_under_high;
    struct lw_list taps;                    // of struct lw_supply_tap
    struct lw_list spans;                   // of struct lw_supply_span
    struct lw_list supplies;                // of struct lw_supply_supply
    struct lw_supply_advice *advice;        // NULL: not asked for
    double idle_v, unit_loads;              // NAN: the plan does not say
    double driver_ohm;                      // least that a driver sees; NAN: not known
    double cycle_wire_ms, cycle_slowest_ms; // one reading of each node; NAN: not known
    double measured_nodes;
    char *hand_meter;                     // as its file names it; NULL: none
    double hand_values, hand_used;        // in its file, and those that say something of the supply
    double weak_span;                     // span with more resistance than planned; 0: none proved
    double weak_span_low, weak_span_high; // spans that cannot be told apart from it; 0: none
    double weak_extra_ohm;                // at the planned currents; NAN: none
    bool weak_proved; // at the level of a fail, 1 in 1000 healthy chains; else a remark, 1 in 20
    char *weak_rail;  // "v_plus" or "zero_v", where the readings tell them apart; else NULL
    double step_a;    // of the load step that the spans were judged by; 0: none
    // Against an earlier visit: the same voltmeters' constant errors cancel, so that what has
    // become worse since is seen. NULL: none.
    char *since_opened;
    double since_nodes;                                        // voltmeters with the same serial
    double since_span, since_low, since_high, since_extra_ohm; // as weak_span; 0: none
    bool since_proved;
    double since_visible_ohm; // smallest growth that would be proved in every span that is seen
    char *draw_node;   // draws otherwise than planned, which explains more than a span; NULL: none
    double draw_share; // of the planned draw: 2 is twice
    char *voltmeter_node; // whose voltmeter stands alone against all others; NULL: none
    double voltmeter_off_v;
    double zero_v_ratio, zero_v_ratio_u; // drop along 0 V over that along V+, both against the
                                         // plan; NAN: not measured
    // What would decide: V+ to V+ and 0 V to 0 V of these two taps under load; 0: nothing open.
    double next_from, next_to;
    double next_plan_v, next_fault_v; // along one rail: as planned, and with the fault in question
    char *next_why;                   // "suspect", or "blind": a joint that starves somebody is not
                                      // visible there
};
extern const struct lw_shape lw_supply_shape;
extern const struct lw_shape *const lw_supply_tap_shape;
extern const struct lw_shape *const lw_supply_span_shape;
extern const struct lw_shape *const lw_supply_supply_shape;
extern const struct lw_shape *const lw_supply_advice_shape;

enum { LW_SUPPLY_READS = 4 }; // of each node, for one mean

// What was read of the supply, one per tap; NAN where nothing was.
struct lw_supply_measured {
    size_t tap_count;
    double *volts;
    double scatter_v; // standard deviation of one reading, of all nodes together; 0: one each
    bool *answered;   // the node was there at all
    bool *asked;
    // A load step: by how much each node's voltage fell, mean over off, on, on, off; `step_a` 0:
    // none.
    double step_a;
    double *step_v;
    const struct lw_meter_file *hand; // borrowed; NULL: none
    // What the same voltmeters, by their serials, said at an earlier visit; NAN: none or another
    // one. NULL: no visit.
    double *earlier_v;
    const char *earlier_opened; // borrowed
};

// A dip that takes some nodes off and leaves others on: 70 % of the voltage is a residual level
// that IEC 61000-4-29 tests with (from memory).
#define LW_SUPPLY_DIP_SHARE 0.7

struct lw_supply_options {
    uint64_t draws, seed; // of the tolerances; 0 draws: none
};
enum { LW_SUPPLY_DRAWS = 10000 };

// All that the plan alone says. `options` NULL: no draws. LW_BAD_FILE when the plan's chain has a
// tap without a path to a supply, or numbers that make no sense.
enum lw_status lw_supply_compute(const struct lw_plan *plan,
                                 const struct lw_supply_options *options,
                                 struct lw_supply_result *result, struct lw_error *error);
// Room for that many taps, nothing measured yet. Free it even after a failure.
enum lw_status lw_supply_measured_init(size_t taps, struct lw_supply_measured *measured,
                                       struct lw_error *error);
// Into a `measured` with room.
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
