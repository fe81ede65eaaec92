// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the supply check share. Private to this room.
#ifndef LW_CHECK_SUPPLY_INSIDE_H
#define LW_CHECK_SUPPLY_INSIDE_H

#include "check/supply.h"
#include "power/weak_span.h"

// Relative standard uncertainty of what copper has under the class maximum that verdicts take: it
// lies between 0.87 and 1 of it.
#define LW_SUPPLY_CONDUCTOR_U 0.06

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

// Measured voltages and currents into a result that has its taps and supplies: what the plan names
// and what a hand meter (NULL: none) adds.
void lw_supply_take_hand(const struct lw_plan *plan, const struct lw_meter_file *file,
                         struct lw_supply_result *result);
// Its voltages between rails, of struct lw_probe.
enum lw_status lw_supply_probes(const struct lw_meter_file *file, struct lw_list *probes,
                                struct lw_error *error);
// Sets zero_v_ratio from drops along the rails. draw_u is how well the draw is known, relatively.
void lw_supply_zero_v_ratio(const struct lw_plan *plan, const struct lw_meter_file *file,
                            double draw_u, struct lw_supply_result *result);

// What the readings are held against, and the readings: as lw_weak_span_find() takes them.
struct lw_supply_evidence {
    struct lw_ladder ladder;
    enum lw_load_state *states;
    struct lw_voltmeter *meters;
    double *source_u_v, *source_u_ohm;
    struct lw_list probes; // of struct lw_probe
    bool rails_apart;
    double draw_u;
    double step_a; // 0: one state
};
// To be finished even when the init failed.
enum lw_status lw_supply_evidence_init(const struct lw_plan *plan,
                                       const struct lw_supply_measured *measured, bool stepped,
                                       const struct lw_supply_result *result,
                                       struct lw_supply_evidence *evidence, struct lw_error *error);
void lw_supply_evidence_finish(struct lw_supply_evidence *evidence);

// Judges what has changed since an earlier visit. LW_MEMORY.
enum lw_status lw_supply_since(const struct lw_plan *plan,
                               const struct lw_supply_measured *measured,
                               struct lw_supply_result *result, struct lw_error *error);

// Sets what to measure next in a judged result.
void lw_supply_next(struct lw_supply_result *result);

// What the findings are made from.
struct lw_supply_judged {
    const struct lw_plan *plan;
    const struct lw_supply_measured *measured; // NULL: a plan alone
    const struct lw_supply_result *result;
    unsigned together; // voltmeters judged at once
    struct lw_findings *findings;
};

// `index` from 0.
static inline const struct lw_supply_tap *lw_supply_tap_at(const struct lw_supply_judged *judged,
                                                           size_t index)
{
    return (const struct lw_supply_tap *)judged->result->taps.items + index;
}

// What the voltages of the taps say: running as planned, starting, or as measured.
enum lw_supply_side { LW_SUPPLY_AS_PLANNED, LW_SUPPLY_STARTING, LW_SUPPLY_AS_MEASURED };
void lw_supply_say_taps(const struct lw_supply_judged *judged, enum lw_supply_side side);

#endif
