// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the supply check says of plans with one thing wrong each, and of what voltmeters read beside
// them on virtual chains.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

// A probe needs 18 V, starts at 18.4 V, drops out at 15 V, stands 30 V and draws 1.2 W.
static const char *supply(double volts, double limit_a, const char *more)
{
    static char text[300];
    lw_print(text, sizeof text,
             "[{\"name\": \"PS1\", \"nominal_v\": %.2f, \"output_ohm\": 0.02, \"limit_a\": %.2f, "
             "\"feeds_tap\": 1%s}]",
             volts, limit_a, more);
    return text;
}

// The findings of the plan alone.
static void computed(const struct cell *cell, struct walk *walk, struct lw_supply_result *result)
{
    struct lw_error error = {0};
    walk_open_cell(walk, cell, 1);
    assert_int_equal(lw_supply_compute(&walk->plan, NULL, result, &error), LW_OK);
    lw_supply_findings(&walk->plan, NULL, result, &walk->rule, &walk->findings);
    walk_comes_back(&lw_supply_shape, result);
}

// One finding of that code, and `others` more.
static void plan_says(const struct cell *cell, const char *code, enum lw_verdict severity,
                      size_t others)
{
    struct walk walk;
    struct lw_supply_result result;
    computed(cell, &walk, &result);
    const struct lw_finding *finding = walk_found(&walk, code, NULL);
    if (!finding || finding->severity != (int)severity || walk_count(&walk, NULL) != 1 + others) {
        walk_show(&walk);
        fail_msg("expected %s", code);
    }
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void enough_is_nothing_to_say(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    computed(&(struct cell){.probes = 4}, &walk, &result);
    const struct lw_supply_supply *supplies = result.supplies.items;
    // 4 x 1.2 W at 24 V, by hand.
    assert_true(fabs(supplies[0].amps - 0.2) < 0.001);
    assert_true(result.operating_point);
    assert_int_equal((int)result.carries_nodes, 4);
    assert_int_equal(result.taps.count, 4);
    assert_int_equal(result.spans.count, 3);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void each_shortage_has_its_name(void **state)
{
    (void)state;
    struct cell cell = {.probes = 4};
    cell.supplies = supply(18.9, 10, "");
    plan_says(&cell, "supply_margin", LW_ATTENTION, 0);
    cell.supplies = supply(20.0, 10, ", \"tolerance_pct\": 12");
    plan_says(&cell, "supply_worst_case", LW_ATTENTION, 0);
    cell.supplies = supply(17.5, 10, "");
    plan_says(&cell, "supply_under_minimum", LW_FAIL, 1); // and may stay off when cold
    cell.supplies = supply(14.5, 10, "");
    plan_says(&cell, "supply_starved", LW_FAIL, 0);
    cell.supplies = supply(31, 10, "");
    plan_says(&cell, "supply_over_maximum", LW_FAIL, 0);
}

static void a_voltage_that_holds_but_does_not_start_is_a_trap(void **state)
{
    (void)state;
    struct cell cell = {.probes = 4, .supplies = supply(18.3, 10, "")};
    plan_says(&cell, "supply_cold_start_trap", LW_ATTENTION, 1); // and little margin
}

static void a_small_supply_is_said_before_and_past_its_limit(void **state)
{
    (void)state;
    struct cell cell = {.probes = 4};
    cell.supplies = supply(24, 0.22, "");
    // and start-up draws more than it has, and so do all tolerances at their bad end
    plan_says(&cell, "supply_load_high", LW_ATTENTION, 2);
    struct walk walk;
    struct lw_supply_result result;
    cell.supplies = supply(24, 0.12, "");
    computed(&cell, &walk, &result);
    assert_false(result.operating_point);
    assert_non_null(walk_found(&walk, "supply_no_operating_point", NULL));
    assert_true(result.carries_nodes < 4);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void a_span_past_its_rating_is_named(void **state)
{
    (void)state;
    struct cell cell = {
        .probes = 4,
        .span = "{\"length_m\": 0.5, \"conductor\": {\"area_mm2\": 0.5}, \"rated_a\": 0.12}"};
    struct walk walk;
    struct lw_supply_result result;
    computed(&cell, &walk, &result);
    assert_int_equal(walk_count(&walk, NULL), 1);
    assert_int_equal(walk_found(&walk, "supply_span_over_rating", NULL)->span, 2);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static const char two_supplies[] = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"output_ohm\": 0.02, "
                                   "\"limit_a\": 2, \"feeds_tap\": 1%s},"
                                   "{\"name\": \"PS2\", \"nominal_v\": 24, \"output_ohm\": 0.02, "
                                   "\"limit_a\": 2, \"feeds_tap\": 3%s}]";

static void two_sources_on_one_rail_are_a_hazard(void **state)
{
    (void)state;
    const char *const sinks = ", \"reverse\": \"sinks\"";
    char text[400];
    struct cell cell = {.probes = 4, .supplies = text};
    lw_print(text, sizeof text, two_supplies, "", "");
    plan_says(&cell, "supply_sources_in_parallel", LW_ATTENTION, 0);
    lw_print(text, sizeof text, two_supplies, sinks, sinks);
    plan_says(&cell, "supply_sources_in_parallel", LW_FAIL, 0);
}

static void a_cut_rail_keeps_two_sources_apart(void **state)
{
    (void)state;
    char text[400];
    struct walk walk;
    struct lw_supply_result result;
    lw_print(text, sizeof text, two_supplies, "", ", \"cuts_before\": \"v_plus\"");
    computed(&(struct cell){.probes = 4, .supplies = text}, &walk, &result);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void many_neighbours_share_one_sentence(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    computed(&(struct cell){.probes = 12, .supplies = supply(17.5, 10, "")}, &walk, &result);
    const struct lw_finding *finding = walk_found(&walk, "supply_under_minimum", "P01");
    assert_non_null(finding);
    assert_non_null(strstr(finding->says, "P01 to P12 (12 nodes)"));
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void voltmeters_stand_beside_what_was_computed(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 6, .encoders = 2}, 4);
    walk_supply(&walk, &result);
    assert_int_equal((int)result.measured_nodes, 8);
    const struct lw_supply_tap *taps = result.taps.items;
    for (size_t i = 0; i < 8; i++) {
        // four standard uncertainties
        assert_true(fabs(taps[i].measured_v - taps[i].volts) < 4 * taps[i].measured_u_v);
    }
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

// A joint that goes bad while the nodes run: they see 17.7 V, below their 18 V and above drop-out.
static void running_nodes_below_their_minimum_are_measured(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .faults = "{\"kind\": \"weak_span\", \"span\": 2, "
                                            "\"extra_ohm\": 15.5, \"from_s\": 0.5}"},
                   4);
    assert_int_equal(lw_client_wait(walk.client, 1, NULL), LW_OK);
    walk_supply(&walk, NULL);
    const struct lw_finding *finding = walk_found(&walk, "supply_under_minimum", "P02");
    assert_non_null(finding);
    assert_non_null(strstr(finding->says, "P02, P03 and P04"));
    assert_true(fabs(finding->value - lw_chain_true_volts(walk.chain, 4)) < 0.1);
    walk_close(&walk);
}

static const struct cell long_chain = {
    .probes = 14, .span = "{\"length_m\": 2, \"conductor\": {\"area_mm2\": 0.5}, \"joints\": 2}"};

// At 5 % each, more than 18 of 200 have a probability under 1 %; at 0.1 %, more than 2.
static void no_more_false_alarms_than_allowed(const char *faults)
{
    size_t false_alarms = 0, false_fails = 0;
    for (uint64_t seed = 1; seed <= 10 * SEEDS; seed++) {
        struct walk walk;
        struct cell cell = long_chain;
        cell.faults = faults;
        walk_open_cell(&walk, &cell, seed);
        walk_supply(&walk, NULL);
        false_alarms += walk_count(&walk, "supply_span_suspect");
        false_fails += walk_count(&walk, "supply_weak_span");
        walk_close(&walk);
    }
    print_message("weak span: %zu false remarks and %zu false fails in %d chains\n", false_alarms,
                  false_fails, 10 * SEEDS);
    assert_in_range(false_alarms + false_fails, 0, 18);
    assert_in_range(false_fails, 0, 2);
}

static void a_chain_as_planned_has_no_weak_span(void **state)
{
    (void)state;
    no_more_false_alarms_than_allowed(NULL);
}

static void dead_nodes_make_no_weak_span(void **state)
{
    (void)state;
    no_more_false_alarms_than_allowed("{\"kind\": \"dead_node\", \"tap\": 5},"
                                      "{\"kind\": \"dead_node\", \"tap\": 13}");
}

static void a_weak_span_is_named_with_its_neighbours(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        struct lw_supply_result result;
        struct cell cell = long_chain;
        cell.faults = "{\"kind\": \"weak_span\", \"span\": 6, \"extra_ohm\": 0.8}";
        walk_open_cell(&walk, &cell, seed);
        walk_supply(&walk, &result);
        const struct lw_finding *finding = walk_found(&walk, "supply_weak_span", NULL);
        assert_non_null(finding);
        assert_true(result.weak_span_low <= 6 && result.weak_span_high >= 6);
        assert_true(result.weak_span_high - result.weak_span_low <= 3);
        const struct lw_supply_span *spans = result.spans.items;
        assert_true(isnan(spans[result.spans.count - 1].ratio_to_plan)); // only mirrors span 6
        // 0.8 ohm on each rail
        assert_true(result.weak_extra_ohm > 1 && result.weak_extra_ohm < 2.2);
        lw_json_free(&lw_supply_shape, &result);
        walk_close(&walk);
    }
}

static void the_last_span_is_said_to_be_invisible(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    struct cell cell = long_chain;
    cell.faults = "{\"kind\": \"weak_span\", \"span\": 14, \"extra_ohm\": 0.2}";
    walk_open_cell(&walk, &cell, 3);
    walk_supply(&walk, &result);
    const struct lw_supply_span *spans = result.spans.items;
    assert_int_equal(walk_count(&walk, "supply_weak_span"), 0);
    assert_true(spans[12].smallest_visible_ohm > 0.4); // span 14
    assert_true(spans[1].smallest_visible_ohm < spans[12].smallest_visible_ohm / 4);
    assert_true(isnan(spans[1].ohm_measured)); // no current was measured: a ratio, no ohms
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void a_measured_current_turns_ratios_into_ohms(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    walk_open_cell(&walk, &long_chain, 3);
    ((struct lw_supply *)walk.plan.supplies.items)->measured_a = 0.71;
    walk_supply(&walk, &result);
    const struct lw_supply_span *spans = result.spans.items;
    size_t known = 0;
    for (size_t i = 0; i < result.spans.count; i++) {
        if (isfinite(spans[i].ohm_measured)) {
            known++;
            assert_true(fabs(spans[i].ohm_measured - spans[i].ohm_plan) < 3 * spans[i].ohm_u95);
        }
    }
    assert_true(known > 0 && known < result.spans.count); // the tail's spans carry too little
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void a_starved_tail_is_one_finding_with_its_neighbours_volts(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 20,
                                  .span = "{\"length_m\": 2.5, \"conductor\": "
                                          "{\"ohm_per_km\": 150}}"},
                   4);
    walk_supply(&walk, NULL);
    assert_false(lw_chain_true_running(walk.chain, 20));
    const struct lw_finding *all = walk.findings.list.items, *starved = NULL;
    for (size_t i = 0; i < walk.findings.list.count; i++) {
        if (strcmp(all[i].code, "supply_starved") == 0 && strstr(all[i].says, "no answer")) {
            assert_null(starved);
            starved = &all[i];
        }
    }
    assert_non_null(starved);
    assert_non_null(strstr(starved->says, "P20"));
    for (size_t tap = 1; tap < (size_t)starved->tap; tap++) {
        assert_true(lw_chain_true_running(walk.chain, tap));
    }
    assert_false(lw_chain_true_running(walk.chain, (size_t)starved->tap));
    walk_close(&walk);
}

static void a_dead_node_with_enough_volts_is_not_the_supplys_business(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(
        &walk, &(struct cell){.probes = 4, .faults = "{\"kind\": \"dead_node\", \"tap\": 4}"}, 4);
    walk_supply(&walk, NULL);
    assert_int_equal(walk_count(&walk, NULL), 0);
    walk_close(&walk);
}

// The first section has 18.9 V; the second is off and tells nothing. What the first one has must
// not be held against the second.
static void a_silent_section_is_not_judged_by_the_other_sections_volts(void **state)
{
    (void)state;
    struct walk walk;
    char text[400];
    lw_print(text, sizeof text, two_supplies, "", ", \"cuts_before\": \"v_plus\"");
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .supplies = text,
                                  .faults = "{\"kind\": \"dead_node\", \"tap\": 3},"
                                            "{\"kind\": \"dead_node\", \"tap\": 4},"
                                            "{\"kind\": \"weak_span\", \"span\": 2, "
                                            "\"extra_ohm\": 40}"},
                   4);
    walk_supply(&walk, NULL);
    assert_null(walk_found(&walk, "supply_starved", NULL));
    // Nobody knows what it has: that is no pass.
    const struct lw_finding *finding = walk_found(&walk, "supply_not_measured", "P03");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_NOT_TESTED);
    assert_int_equal(walk_count(&walk, "supply_not_measured"), 1);
    walk_close(&walk);
}

// Between nodes that tell their voltage there is no doubt; behind the last of them there is.
static void a_silent_tail_is_not_passed_and_a_silent_middle_is(void **state)
{
    (void)state;
    for (int tail = 0; tail <= 1; tail++) {
        struct walk walk;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 6,
                                      .faults = tail ? "{\"kind\": \"dead_node\", \"tap\": 5},"
                                                       "{\"kind\": \"dead_node\", \"tap\": 6}"
                                                     : "{\"kind\": \"dead_node\", \"tap\": 3},"
                                                       "{\"kind\": \"dead_node\", \"tap\": 4}"},
                       4);
        walk_supply(&walk, NULL);
        assert_int_equal(walk_count(&walk, "supply_not_measured"), tail);
        assert_int_equal(walk_count(&walk, NULL), tail);
        walk_close(&walk);
    }
}

// 4 probes of 1.2 W on 24 V draw 0.05 A each: 0.12 A carry two, 0.17 A three.
static void what_is_carried_is_counted_from_the_head(void **state)
{
    (void)state;
    for (int nodes = 2; nodes <= 3; nodes++) {
        struct walk walk;
        struct lw_supply_result result;
        computed(&(struct cell){.probes = 4, .supplies = supply(24, nodes == 2 ? 0.12 : 0.17, "")},
                 &walk, &result);
        assert_int_equal((int)result.carries_nodes, nodes);
        assert_string_equal(result.gives_first, "supply_limit");
        assert_string_equal(result.gives_at, "PS1");
        lw_json_free(&lw_supply_shape, &result);
        walk_close(&walk);
    }
}

static void what_gives_first_is_named(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    struct cell cell = {.probes = 12,
                        .span = "{\"length_m\": 2.5, \"conductor\": {\"ohm_per_km\": 500}}"};
    computed(&cell, &walk, &result);
    assert_string_equal(result.gives_first, "voltage");
    assert_true(result.carries_nodes >= 1 && result.carries_nodes < 12);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
    cell.span = "{\"length_m\": 0.5, \"conductor\": {\"area_mm2\": 0.5}, \"rated_a\": 0.12}";
    computed(&cell, &walk, &result);
    assert_string_equal(result.gives_first, "rating");
    assert_string_equal(result.gives_at, "span 2");
    assert_int_equal((int)result.carries_nodes, 3); // 2 x 0.05 A through span 2
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void a_profile_without_a_load_is_not_passed(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    computed(&(struct cell){.probes = 4}, &walk, &result);
    lw_json_free(&lw_supply_shape, &result);
    struct lw_profile *profiles = walk.plan.profiles.items;
    for (size_t i = 0; i < walk.plan.profiles.count; i++) {
        profiles[i].electrical.load.watts = NAN;
    }
    assert_int_equal(lw_supply_compute(&walk.plan, NULL, &result, NULL), LW_OK);
    lw_supply_findings(&walk.plan, NULL, &result, &walk.rule, &walk.findings);
    assert_int_equal(walk_count(&walk, NULL), 1);
    assert_int_equal(walk_found(&walk, "supply_not_computed", NULL)->severity, LW_NOT_TESTED);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

// A supply trimmed up to 29.5 V +- 3 %: 30.4 V without load, and a probe stands 30 V.
static void a_supply_trimmed_up_is_held_against_the_maximum(void **state)
{
    (void)state;
    const struct cell cell = {.probes = 4, .supplies = supply(29.5, 10, ", \"tolerance_pct\": 3")};
    plan_says(&cell, "supply_over_maximum", LW_ATTENTION, 0);
}

// 18.7 V behind 10 % of tolerance: between 16.8 V and 20.6 V, so that a good part of all draws lies
// under 18 V; with the same seed the same part.
static void draws_give_each_node_a_probability_with_its_interval(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result first, second;
    const struct lw_supply_options options = {.draws = 4000, .seed = 5};
    walk_open_cell(
        &walk, &(struct cell){.probes = 4, .supplies = supply(18.7, 10, ", \"tolerance_pct\": 10")},
        1);
    assert_int_equal(lw_supply_compute(&walk.plan, &options, &first, NULL), LW_OK);
    assert_int_equal(lw_supply_compute(&walk.plan, &options, &second, NULL), LW_OK);
    const struct lw_supply_tap *taps = first.taps.items, *again = second.taps.items;
    // (18 + 0.02 - 16.83) / 3.74 of the even spread of the source's volts; drops are some 20 mV.
    assert_true(fabs(taps[3].under_probability - 0.318) < 0.03);
    assert_true(taps[3].under_low < taps[3].under_probability);
    assert_true(taps[3].under_high > taps[3].under_probability);
    assert_true(taps[3].under_probability >= taps[0].under_probability);
    assert_true(first.any_under >= taps[3].under_probability);
    assert_true(again[3].under_probability == taps[3].under_probability);
    assert_string_equal(first.worst_kind, "exact");
    lw_json_free(&lw_supply_shape, &first);
    lw_json_free(&lw_supply_shape, &second);
    walk_close(&walk);
}

// 18.9 V +- 4.65 %: only the last thousandths of the range reach 18.02 V; few of 100 draws do.
static void rare_failures_are_drawn_towards(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result, many;
    const struct lw_supply_options few = {.draws = 100, .seed = 2}, full = {.draws = 200000};
    walk_open_cell(
        &walk,
        &(struct cell){.probes = 4, .supplies = supply(18.9, 10, ", \"tolerance_pct\": 4.65")}, 1);
    assert_int_equal(lw_supply_compute(&walk.plan, &few, &result, NULL), LW_OK);
    assert_int_equal(lw_supply_compute(&walk.plan, &full, &many, NULL), LW_OK);
    assert_true(result.any_under == 0);
    assert_true(many.any_under > 0);
    assert_true(result.rare_under_low <= many.any_under_high);
    assert_true(result.rare_under_high >= many.any_under_low);
    lw_json_free(&lw_supply_shape, &result);
    lw_json_free(&lw_supply_shape, &many);
    walk_close(&walk);
}

static size_t line_says(const char *line, const char *span, const char *code)
{
    struct walk walk;
    struct lw_supply_result result;
    computed(&(struct cell){.probes = 4, .line = line, .span = span}, &walk, &result);
    size_t count = walk_count(&walk, code);
    assert_int_equal(walk_count(&walk, NULL), count);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
    return count;
}

// One terminator at each end, "MODBUS over Serial Line" V1.02, 3.4.5.
static void terminators_are_counted_and_placed(void **state)
{
    (void)state;
    const char *const code = "supply_terminations";
    const char *const bad[] = {
        ", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}]",
        ", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}, {\"at\": 3, \"ohm\": 120}]"};
    assert_int_equal(line_says(NULL, NULL, code), 0); // the plan does not say
    assert_int_equal(line_says(", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}, "
                               "{\"at\": 4, \"ohm\": 120}]",
                               NULL, code),
                     0);
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(line_says(bad[i], NULL, code), 1);
    }
}

// Rules of thumb: 1e8 m bit/s over 19200 bit/s are 5208 m; a tenth of 30 % of a bit, 15.6 us, at
// 0.66 of the speed of light is 309 m (TI SLLA272).
static void long_pairs_and_stubs_are_said_as_rules_of_thumb(void **state)
{
    (void)state;
    assert_int_equal(line_says(", \"length_m\": 5200", NULL, "supply_line_long"), 0);
    assert_int_equal(line_says(", \"length_m\": 5220", NULL, "supply_line_long"), 1);
    assert_int_equal(line_says(", \"longest_stub_m\": 300", NULL, "supply_stub_long"), 0);
    assert_int_equal(line_says(", \"longest_stub_m\": 312", NULL, "supply_stub_long"), 1);
}

// One read of two registers: 8 + 9 characters of 11 bits and two silences of 3.5 characters, 24
// characters at 19200 bit/s, 13.75 ms; four probes take 55 ms, and up to 8 ms each to answer.
static void a_cycle_that_the_rate_cannot_hold_is_said(void **state)
{
    (void)state;
    assert_int_equal(line_says(", \"wanted_cycle_ms\": 88", NULL, "supply_cycle"), 0);
    assert_int_equal(line_says(", \"wanted_cycle_ms\": 86", NULL, "supply_cycle"), 1);
    assert_int_equal(line_says(", \"wanted_cycle_ms\": 54", NULL, "supply_cycle"), 1);
}

// Idle voltages by hand, as the divider of "MODBUS over Serial Line" V1.02, 3.4.5 and 3.4.6 gives
// them: 5 V over two bias resistors against two terminators of 120 ohm.
static void a_pair_with_too_little_bias_is_said(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    struct cell cell = {.probes = 4,
                        .line = ", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}, "
                                "{\"at\": \"tail\", \"ohm\": 120}], \"bias\": {\"at\": "
                                "\"head\", \"supply_v\": 5, \"pull_up_ohm\": 560, "
                                "\"pull_down_ohm\": 560}"};
    computed(&cell, &walk, &result);
    // 2.5 unit loads of 12 kohm beside 60 ohm: 59.26 ohm; 5 V x 59.26 / (1120 + 59.26)
    assert_true(fabs(result.unit_loads - 2.5) < 1e-9);
    assert_true(fabs(result.idle_v - 0.2513) < 0.0002);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_supply_shape, &result);
    struct lw_profile *profile = walk.plan.profiles.items;
    for (size_t i = 0; i < walk.plan.profiles.count; i++) {
        double *window = profile[i].electrical.receiver_threshold_v.items;
        window[1] = 0.3;
    }
    lw_supply_compute(&walk.plan, NULL, &result, NULL);
    lw_supply_findings(&walk.plan, NULL, &result, &walk.rule, &walk.findings);
    assert_non_null(walk_found(&walk, "supply_bias_low", NULL));
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

// 32 receivers of one unit load, TIA/EIA-485; controller and tester are two of them.
static void more_receivers_than_allowed_are_said(void **state)
{
    (void)state;
    for (size_t probes = 30; probes <= 31; probes++) {
        struct walk walk;
        struct lw_supply_result result;
        computed(&(struct cell){.probes = probes}, &walk, &result);
        lw_json_free(&lw_supply_shape, &result);
        walk_forget(&walk);
        struct lw_profile *profile = walk.plan.profiles.items;
        for (size_t i = 0; i < walk.plan.profiles.count; i++) {
            profile[i].electrical.unit_loads = 1;
        }
        lw_supply_compute(&walk.plan, NULL, &result, NULL);
        lw_supply_findings(&walk.plan, NULL, &result, &walk.rule, &walk.findings);
        assert_int_equal(walk_count(&walk, "supply_unit_loads"), probes > 30);
        lw_json_free(&lw_supply_shape, &result);
        walk_close(&walk);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(enough_is_nothing_to_say),
        cmocka_unit_test(each_shortage_has_its_name),
        cmocka_unit_test(a_voltage_that_holds_but_does_not_start_is_a_trap),
        cmocka_unit_test(a_small_supply_is_said_before_and_past_its_limit),
        cmocka_unit_test(a_span_past_its_rating_is_named),
        cmocka_unit_test(two_sources_on_one_rail_are_a_hazard),
        cmocka_unit_test(a_cut_rail_keeps_two_sources_apart),
        cmocka_unit_test(many_neighbours_share_one_sentence),
        cmocka_unit_test(what_is_carried_is_counted_from_the_head),
        cmocka_unit_test(what_gives_first_is_named),
        cmocka_unit_test(a_profile_without_a_load_is_not_passed),
        cmocka_unit_test(a_supply_trimmed_up_is_held_against_the_maximum),
        cmocka_unit_test(draws_give_each_node_a_probability_with_its_interval),
        cmocka_unit_test(rare_failures_are_drawn_towards),
        cmocka_unit_test(terminators_are_counted_and_placed),
        cmocka_unit_test(long_pairs_and_stubs_are_said_as_rules_of_thumb),
        cmocka_unit_test(a_cycle_that_the_rate_cannot_hold_is_said),
        cmocka_unit_test(a_pair_with_too_little_bias_is_said),
        cmocka_unit_test(more_receivers_than_allowed_are_said),
        cmocka_unit_test(voltmeters_stand_beside_what_was_computed),
        cmocka_unit_test(running_nodes_below_their_minimum_are_measured),
        cmocka_unit_test(a_chain_as_planned_has_no_weak_span),
        cmocka_unit_test(dead_nodes_make_no_weak_span),
        cmocka_unit_test(a_weak_span_is_named_with_its_neighbours),
        cmocka_unit_test(the_last_span_is_said_to_be_invisible),
        cmocka_unit_test(a_measured_current_turns_ratios_into_ohms),
        cmocka_unit_test(a_starved_tail_is_one_finding_with_its_neighbours_volts),
        cmocka_unit_test(a_dead_node_with_enough_volts_is_not_the_supplys_business),
        cmocka_unit_test(a_silent_section_is_not_judged_by_the_other_sections_volts),
        cmocka_unit_test(a_silent_tail_is_not_passed_and_a_silent_middle_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
