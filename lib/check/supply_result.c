// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the supply check says: its JSON shape.
#include "check/supply.h"

#define NUMBER(type, member, sentence)                                                             \
    {                                                                                              \
        LW_AT(struct type, member), .kind = LW_NUMBER, .nullable = true, .says = sentence          \
    }

static const struct lw_field tap_fields[] = {
    {LW_AT(struct lw_supply_tap, tap), .kind = LW_INTEGER, .required = true,
     .says = "place on the chain, from 1"},
    {LW_AT(struct lw_supply_tap, node), .kind = LW_TEXT, .says = "name; absent for a passive tap"},
    NUMBER(lw_supply_tap, volts, "between the rails, all running"),
    NUMBER(lw_supply_tap, zero_rise_v, "rise of the 0 V rail above its source"),
    NUMBER(lw_supply_tap, minimum_v, "that the node needs"),
    NUMBER(lw_supply_tap, maximum_v, "that the node stands"),
    {LW_AT(struct lw_supply_tap, on), .kind = LW_BOOLEAN, .says = "runs when all have run"},
    NUMBER(lw_supply_tap, worst_volts, "with every tolerance at its bad end"),
    {LW_AT(struct lw_supply_tap, worst_on), .kind = LW_BOOLEAN, .says = "runs then"},
    NUMBER(lw_supply_tap, under_probability,
           "share of the draws of all tolerances with less than minimum_v"),
    NUMBER(lw_supply_tap, under_low, "lower end of its 95 % interval"),
    NUMBER(lw_supply_tap, under_high, "upper end of its 95 % interval"),
    NUMBER(lw_supply_tap, cold_volts, "after switching on cold, as a static bound"),
    {LW_AT(struct lw_supply_tap, cold_on), .kind = LW_BOOLEAN, .says = "runs then"},
    NUMBER(lw_supply_tap, dip_volts, "after a dip of all supplies to 70 % that takes some off"),
    {LW_AT(struct lw_supply_tap, dip_on), .kind = LW_BOOLEAN, .says = "runs then"},
    NUMBER(lw_supply_tap, highest_v, "when nobody draws and the supply is at its upper end"),
    NUMBER(lw_supply_tap, measured_v, "what its own voltmeter says, else a hand meter"),
    NUMBER(lw_supply_tap, measured_u_v, "standard uncertainty of that"),
    NUMBER(lw_supply_tap, hand_v, "between V+ and 0 V by a hand meter"),
    NUMBER(lw_supply_tap, hand_u_v, "standard uncertainty of that"),
    {0},
};
static const struct lw_shape tap_shape = {
    .name = "supply_tap", .size = sizeof(struct lw_supply_tap), .fields = tap_fields};
const struct lw_shape *const lw_supply_tap_shape = &tap_shape;

static const struct lw_field span_fields[] = {
    {LW_AT(struct lw_supply_span, span), .kind = LW_INTEGER, .required = true,
     .says = "number; span k ends at tap k"},
    NUMBER(lw_supply_span, amps, "larger of the two rails"),
    NUMBER(lw_supply_span, rated_a, "that its cable and joints stand"),
    NUMBER(lw_supply_span, ohm_plan, "both rails together"),
    NUMBER(lw_supply_span, ohm_measured, "from voltages and a measured current"),
    NUMBER(lw_supply_span, ohm_u95, "one-sided 95 % of it"),
    NUMBER(lw_supply_span, ratio_to_plan, "resistance over the planned one, at planned currents"),
    NUMBER(lw_supply_span, smallest_visible_ohm, "extra that would be proved 95 times in 100"),
    {0},
};
static const struct lw_shape span_shape = {
    .name = "supply_span", .size = sizeof(struct lw_supply_span), .fields = span_fields};
const struct lw_shape *const lw_supply_span_shape = &span_shape;

static const struct lw_field supply_fields[] = {
    {LW_AT(struct lw_supply_supply, name), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_supply_supply, tap), .kind = LW_INTEGER, .says = "tap that it feeds"},
    NUMBER(lw_supply_supply, amps, "that it delivers"),
    NUMBER(lw_supply_supply, limit_a, "that it can, derated"),
    NUMBER(lw_supply_supply, load_pct, "amps over limit_a"),
    {LW_AT(struct lw_supply_supply, mode), .kind = LW_TEXT,
     .says = "voltage, limited, blocking or off"},
    NUMBER(lw_supply_supply, measured_v, "at its terminals, by the plan or a hand meter"),
    NUMBER(lw_supply_supply, measured_u_v, "standard uncertainty of that"),
    NUMBER(lw_supply_supply, measured_a, "that it delivers, by the plan or a hand meter"),
    NUMBER(lw_supply_supply, measured_u_a, "standard uncertainty of that"),
    NUMBER(lw_supply_supply, cold_amps, "after switching on cold, as a static bound"),
    {LW_AT(struct lw_supply_supply, cold_mode), .kind = LW_TEXT, .says = "mode then"},
    {0},
};
static const struct lw_shape supply_shape = {
    .name = "supply_supply", .size = sizeof(struct lw_supply_supply), .fields = supply_fields};
const struct lw_shape *const lw_supply_supply_shape = &supply_shape;

static const struct lw_field advice_fields[] = {
    {LW_AT(struct lw_supply_advice, found), .kind = LW_BOOLEAN,
     .says = "false: nothing on offer suffices, this comes nearest"},
    NUMBER(lw_supply_advice, cost, "in the unit of --supply-cost and --cable-cost"),
    NUMBER(lw_supply_advice, margin_v, "least voltage above minimum and margin with it"),
    NUMBER(lw_supply_advice, area_mm2, "of the cable wherever it is thinner; null: as it is"),
    {LW_AT(struct lw_supply_advice, taps), .kind = LW_NUMBERS, .says = "where a supply is added"},
    {LW_AT(struct lw_supply_advice, says), .kind = LW_TEXT, .says = "the change in words"},
    {0},
};
static const struct lw_shape advice_shape = {
    .name = "supply_advice", .size = sizeof(struct lw_supply_advice), .fields = advice_fields};
const struct lw_shape *const lw_supply_advice_shape = &advice_shape;

static const struct lw_field result_fields[] = {
    {LW_AT(struct lw_supply_result, asked), .kind = LW_TEXT,
     .says = "what-if: how the plan was changed for this question; absent: not at all"},
    {LW_AT(struct lw_supply_result, operating_point), .kind = LW_BOOLEAN,
     .says = "with all nodes on there is one"},
    {LW_AT(struct lw_supply_result, collapses), .kind = LW_BOOLEAN,
     .says = "there is none though no supply is at its limit: the way takes too much"},
    NUMBER(lw_supply_result, carries_nodes,
           "nodes counted from the head that run together above their minimum"),
    {LW_AT(struct lw_supply_result, gives_first), .kind = LW_TEXT,
     .says = "what one more would bring down: nothing (all are carried), voltage, supply_limit, "
             "rating, collapse"},
    {LW_AT(struct lw_supply_result, gives_at), .kind = LW_TEXT,
     .says = "the node, supply or span where it gives"},
    NUMBER(lw_supply_result, running_nodes, "nodes that are left when all have been on"),
    NUMBER(lw_supply_result, load_factor, "1, or the common multiplier of the loads that solves"),
    {LW_AT(struct lw_supply_result, cold_start_trap), .kind = LW_BOOLEAN,
     .says = "nodes stay off after switching on, by the static bound"},
    {LW_AT(struct lw_supply_result, dip_trap), .kind = LW_BOOLEAN,
     .says = "nodes stay off after a dip, by the static bound"},
    {LW_AT(struct lw_supply_result, resets_in_turn), .kind = LW_BOOLEAN,
     .says = "nodes go off, see their start voltage and start again"},
    {LW_AT(struct lw_supply_result, start_unsettled), .kind = LW_BOOLEAN,
     .says = "no rest was found for the nodes that wait: what starts is likely, not computed"},
    {LW_AT(struct lw_supply_result, parallel_one), .kind = LW_TEXT,
     .says = "a supply that shares a stretch of both rails with another"},
    {LW_AT(struct lw_supply_result, parallel_other), .kind = LW_TEXT, .says = "the other one"},
    {LW_AT(struct lw_supply_result, worst_kind), .kind = LW_TEXT,
     .says = "what the worst case is worth: exact, bound (perhaps nothing comes as low) or "
             "estimate (another combination may give a little less)"},
    NUMBER(lw_supply_result, draws, "of the tolerances; 0: none"),
    NUMBER(lw_supply_result, seed, "of the draws; the same seed draws the same"),
    NUMBER(lw_supply_result, any_under, "share of draws in which somebody was under its minimum"),
    NUMBER(lw_supply_result, any_under_low, "lower end of its 95 % interval"),
    NUMBER(lw_supply_result, any_under_high, "upper end of its 95 % interval"),
    NUMBER(lw_supply_result, rare_under, "probability of that where plain draws met none"),
    NUMBER(lw_supply_result, rare_under_low, "lower end of its 95 % interval"),
    NUMBER(lw_supply_result, rare_under_high, "upper end of its 95 % interval"),
    NUMBER(lw_supply_result, measured_nodes, "nodes whose voltmeter was read"),
    {LW_AT(struct lw_supply_result, hand_meter), .kind = LW_TEXT,
     .says = "hand meter, as its file names it; absent: none"},
    NUMBER(lw_supply_result, hand_values, "values in its file"),
    NUMBER(lw_supply_result, hand_used, "of them those that say something of the supply"),
    NUMBER(lw_supply_result, weak_span, "span with more resistance than planned; 0: none proved"),
    NUMBER(lw_supply_result, weak_span_low, "first span that cannot be told apart from it"),
    NUMBER(lw_supply_result, weak_span_high, "last such span"),
    NUMBER(lw_supply_result, weak_extra_ohm, "its extra resistance at the planned currents"),
    {LW_AT(struct lw_supply_result, weak_proved), .kind = LW_BOOLEAN,
     .says = "so clear that 1 in 1000 healthy chains would look like it; else 1 in 20"},
    {LW_AT(struct lw_supply_result, weak_rail), .kind = LW_TEXT,
     .says = "v_plus or zero_v; absent: the readings do not tell"},
    NUMBER(lw_supply_result, step_a, "load step by which the spans were judged; 0: none"),
    {LW_AT(struct lw_supply_result, since_opened), .kind = LW_TEXT,
     .says = "opening of the earlier visit whose voltmeters were compared; absent: none"},
    NUMBER(lw_supply_result, since_nodes, "voltmeters with the same serial in both"),
    NUMBER(lw_supply_result, since_span, "span whose resistance has grown since; 0: none proved"),
    NUMBER(lw_supply_result, since_low, "first span that cannot be told apart from it"),
    NUMBER(lw_supply_result, since_high, "last such span"),
    NUMBER(lw_supply_result, since_extra_ohm, "by how much"),
    {LW_AT(struct lw_supply_result, since_proved), .kind = LW_BOOLEAN,
     .says = "at the level of a fail"},
    NUMBER(lw_supply_result, since_visible_ohm,
           "growth that would be proved in every span that is seen"),
    {LW_AT(struct lw_supply_result, draw_node), .kind = LW_TEXT,
     .says = "a node whose draw does not fit, which explains more than any span; absent: none"},
    NUMBER(lw_supply_result, draw_share, "what it draws over its planned draw"),
    {LW_AT(struct lw_supply_result, voltmeter_node), .kind = LW_TEXT,
     .says = "a node whose voltmeter stands alone against all others; absent: none"},
    NUMBER(lw_supply_result, voltmeter_off_v, "by how much"),
    NUMBER(lw_supply_result, zero_v_ratio,
           "drop along 0 V over that along V+, both against the plan; below 1: a second way"),
    NUMBER(lw_supply_result, zero_v_ratio_u, "standard uncertainty of that"),
    NUMBER(lw_supply_result, next_from,
           "tap from which to measure along V+, then along 0 V, to decide; 0: nothing open"),
    NUMBER(lw_supply_result, next_to, "tap to which"),
    NUMBER(lw_supply_result, next_plan_v, "what is planned there along one rail"),
    NUMBER(lw_supply_result, next_fault_v, "with the fault in question"),
    {LW_AT(struct lw_supply_result, next_why), .kind = LW_TEXT,
     .says = "suspect: a span; blind: a joint that starves a node would not be seen"},
    {LW_AT(struct lw_supply_result, advice), .kind = LW_OPTIONAL, .sub = &advice_shape,
     .says = "the cheapest change that gives every node its margin; absent: not asked for"},
    NUMBER(lw_supply_result, idle_v, "of the data pair, nobody sending"),
    NUMBER(lw_supply_result, unit_loads, "of all receivers on the fullest segment of the pair"),
    NUMBER(lw_supply_result, driver_ohm, "least load that a driver sees on the pair"),
    NUMBER(lw_supply_result, cycle_wire_ms,
           "least time for one reading of each node: bytes and silences alone"),
    NUMBER(lw_supply_result, cycle_slowest_ms, "with every node as slow as its profile allows"),
    {LW_AT(struct lw_supply_result, taps), .kind = LW_LIST, .sub = &tap_shape, .says = "by tap"},
    {LW_AT(struct lw_supply_result, spans), .kind = LW_LIST, .sub = &span_shape,
     .says = "by number, from 2"},
    {LW_AT(struct lw_supply_result, supplies), .kind = LW_LIST, .sub = &supply_shape,
     .says = "in the plan's order"},
    {0},
};
const struct lw_shape lw_supply_shape = {
    .name = "supply", .size = sizeof(struct lw_supply_result), .fields = result_fields};
