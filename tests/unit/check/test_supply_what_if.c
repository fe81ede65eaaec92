// SPDX-License-Identifier: GPL-3.0-or-later
//
// Questions to a plan: nodes more or fewer, another supply, warmer air, and what the cheapest
// change is.
#include "walk.h"

#include "check/supply_advise.h"
#include "check/supply_what_if.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static const struct cell long_cell = {
    .probes = 11, .airs = 1, .span = "{\"length_m\": 4, \"conductor\": {\"area_mm2\": 0.5}}"};

static void open_long(struct walk *walk)
{
    walk_open_cell(walk, &long_cell, 1);
}

static void compute(struct walk *walk, struct lw_supply_result *result)
{
    struct lw_error error = {0};
    if (lw_supply_compute(&walk->plan, NULL, result, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    walk_comes_back(&lw_supply_shape, result);
}

static double last_volts(struct walk *walk)
{
    struct lw_supply_result result;
    compute(walk, &result);
    double volts = ((struct lw_supply_tap *)result.taps.items)[11].volts;
    lw_json_free(&lw_supply_shape, &result);
    return volts;
}

static void nodes_more_stand_at_the_tail_and_draw(void **state)
{
    (void)state;
    struct walk walk;
    open_long(&walk);
    double before_v = last_volts(&walk);
    assert_int_equal(lw_what_if_add(&walk.plan, "3:example-air", NULL), LW_OK);
    assert_int_equal(lw_plan_taps(&walk.plan), 15);
    assert_string_equal(lw_plan_tap(&walk.plan, 15)->node, "+3");
    assert_string_equal(lw_plan_tap(&walk.plan, 15)->is->name, "example-air");
    assert_int_equal(lw_plan_tap(&walk.plan, 13)->address, 13);
    assert_true(last_volts(&walk) < before_v - 0.1);
    walk_close(&walk);
}

static void a_node_taken_off_leaves_its_tap(void **state)
{
    (void)state;
    struct walk walk;
    open_long(&walk);
    double before_v = last_volts(&walk);
    assert_int_equal(lw_what_if_without(&walk.plan, "P03,P05-P06", NULL), LW_OK);
    assert_int_equal(lw_plan_taps(&walk.plan), 12);
    assert_int_equal(lw_plan_nodes(&walk.plan), 9);
    assert_null(lw_plan_tap(&walk.plan, 5)->node);
    assert_true(last_volts(&walk) > before_v);
    walk_close(&walk);
}

static void a_supply_more_cuts_the_rail_before_it(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    open_long(&walk);
    assert_int_equal(lw_what_if_feed(&walk.plan, "P07:PS1", NULL), LW_OK);
    compute(&walk, &result);
    assert_int_equal(result.supplies.count, 2);
    const struct lw_supply_supply *supplies = result.supplies.items;
    const struct lw_supply_span *spans = result.spans.items;
    assert_int_equal(supplies[1].tap, 7);
    assert_true(fabs(supplies[0].amps - supplies[1].amps) < 0.1); // about the same on each
    assert_null(result.parallel_one);
    assert_true(spans[5].span == 7 && spans[5].amps < 0.01);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

// 0.00393 per kelvin at 20 C: 50 K make copper 19.65 % worse, and the drop with it.
static void warm_air_makes_copper_worse(void **state)
{
    (void)state;
    struct walk walk;
    open_long(&walk);
    double cool_v = 24 - last_volts(&walk);
    assert_int_equal(lw_what_if_ambient(&walk.plan, walk.plan.ambient_c + 50, NULL), LW_OK);
    double warm_v = 24 - last_volts(&walk);
    assert_true(warm_v / cool_v > 1.15 && warm_v / cool_v < 1.21);
    walk_close(&walk);
}

static void senseless_questions_are_refused_in_one_line(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_error error = {0};
    open_long(&walk);
    const char *const adds[] = {"",   "0",         "-1",           "1.5", "201",
                                "2:", "2:nothing", ":example-air", "2x"};
    for (size_t i = 0; i < sizeof adds / sizeof *adds; i++) {
        // "2:" asks for the last node's own profile
        bool fine = strcmp(adds[i], "2:") == 0;
        assert_int_equal(lw_what_if_add(&walk.plan, adds[i], &error), fine ? LW_OK : LW_USAGE);
    }
    const char *const feeds[] = {"", "0", "15", "P99", "3:PS9"};
    for (size_t i = 0; i < sizeof feeds / sizeof *feeds; i++) {
        assert_int_equal(lw_what_if_feed(&walk.plan, feeds[i], &error), LW_USAGE);
    }
    assert_int_equal(lw_what_if_ambient(&walk.plan, 101, &error), LW_USAGE);
    assert_int_equal(lw_what_if_ambient(&walk.plan, NAN, &error), LW_USAGE);
    assert_int_equal(lw_what_if_without(&walk.plan, "P77", &error), LW_USAGE);
    assert_int_equal(lw_what_if_add(&walk.plan, "200", &error), LW_OK);
    assert_int_equal(lw_what_if_add(&walk.plan, "200", &error), LW_USAGE); // no address is left
    walk_close(&walk);
}

static const struct cell starved = {
    .probes = 20, .span = "{\"length_m\": 10, \"conductor\": {\"area_mm2\": 0.5}}"};

static struct lw_supply_advice *advised(struct walk *walk, double supply, double cable,
                                        struct lw_supply_result *result)
{
    const struct lw_advise_costs costs = {.supply = supply, .cable = cable};
    compute(walk, result);
    assert_int_equal(lw_supply_advise(&walk->plan, &costs, result, NULL), LW_OK);
    walk_comes_back(&lw_supply_shape, result);
    return result->advice;
}

static void advice_follows_what_things_cost(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    walk_open_cell(&walk, &starved, 1);
    struct lw_supply_advice *advice = advised(&walk, 10, 5, &result);
    assert_true(advice->found && advice->taps.count == 1 && isnan(advice->area_mm2));
    assert_true(advice->cost == 10 && advice->margin_v >= 0);
    lw_json_free(&lw_supply_shape, &result);
    advice = advised(&walk, 1e6, 1, &result);
    assert_true(advice->found && advice->taps.count == 0 && advice->area_mm2 > 0.5);
    assert_true(fabs(advice->cost - 190 * advice->area_mm2) < 1e-9); // 19 spans of 10 m
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

// What the advice says must hold when the plan is really changed so.
static void the_advised_supply_gives_the_margin_that_it_promises(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    char tap[16];
    walk_open_cell(&walk, &starved, 1);
    struct lw_supply_advice *advice = advised(&walk, 10, 5, &result);
    double promised_v = advice->margin_v, least_v = INFINITY;
    lw_print(tap, sizeof tap, "%.0f", *(double *)advice->taps.items);
    lw_json_free(&lw_supply_shape, &result);
    assert_int_equal(lw_what_if_feed(&walk.plan, tap, NULL), LW_OK);
    compute(&walk, &result);
    const struct lw_supply_tap *taps = result.taps.items;
    for (size_t i = 0; i < result.taps.count; i++) {
        least_v = fmin(least_v, taps[i].volts - taps[i].minimum_v - 1); // margin_v is 1 by default
    }
    assert_true(fabs(least_v - promised_v) < 1e-9);
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

static void a_chain_with_its_margin_needs_no_change(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_supply_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 4}, 1);
    struct lw_supply_advice *advice = advised(&walk, 10, 5, &result);
    assert_true(advice->found && advice->cost == 0);
    assert_string_equal(advice->says, "nothing has to change");
    lw_json_free(&lw_supply_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nodes_more_stand_at_the_tail_and_draw),
        cmocka_unit_test(a_node_taken_off_leaves_its_tap),
        cmocka_unit_test(a_supply_more_cuts_the_rail_before_it),
        cmocka_unit_test(warm_air_makes_copper_worse),
        cmocka_unit_test(senseless_questions_are_refused_in_one_line),
        cmocka_unit_test(advice_follows_what_things_cost),
        cmocka_unit_test(the_advised_supply_gives_the_margin_that_it_promises),
        cmocka_unit_test(a_chain_with_its_margin_needs_no_change),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
