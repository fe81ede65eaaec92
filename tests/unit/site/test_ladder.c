// SPDX-License-Identifier: GPL-3.0-or-later
//
// A plan as copper: resistances reckoned by hand from published figures.
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_plan plan;

static int load_plan(void **state)
{
    (void)state;
    char says[LW_ERROR_SAYS];
    return site_load_plan(NULL, NULL, &plan, says, sizeof says) == LW_OK ? 0 : -1;
}

static int free_plan(void **state)
{
    (void)state;
    lw_plan_free(&plan);
    return 0;
}

static void expect_near(double got, double wanted, double within)
{
    if (!(fabs(got - wanted) <= within)) {
        fail_msg("%.12g instead of %.12g", got, wanted);
    }
}

// IEC 60228, class 5, plain copper: 39.0 ohm/km at most for 0.5 mm2 at 20 C; 0.00393 per kelvin
// (handbook value for annealed copper). The plan: 30 C, two joints of 0.004 ohm.
static const double warm = 1 + 0.00393 * 10;

static void span_for_verdicts_is_class_5_maximum_at_ambient(void **state)
{
    (void)state;
    double plus = 0, zero = 0;
    assert_int_equal(lw_plan_span_ohm(&plan, 2, LW_LADDER_VERDICT, &plus, &zero, NULL), LW_OK);
    expect_near(plus, 0.0005 * 39.0 * warm + 2 * 0.004, 1e-12);
    expect_near(zero, plus, 0);
    assert_int_equal(lw_plan_span_ohm(&plan, 3, LW_LADDER_VERDICT, &plus, &zero, NULL), LW_OK);
    expect_near(plus, 0.004 * 39.0 * warm + 2 * 0.004, 1e-12);
}

static void span_of_nominal_copper_is_the_other_end(void **state)
{
    (void)state;
    double plus = 0, zero = 0;
    assert_int_equal(lw_plan_span_ohm(&plan, 2, LW_LADDER_NOMINAL, &plus, &zero, NULL), LW_OK);
    // IEC 60028: 1/58 ohm mm2/m.
    expect_near(plus, 0.5 / 58 / 0.5 * warm + 2 * 0.004, 1e-12);
}

static void worst_span_is_longer_with_worse_joints(void **state)
{
    (void)state;
    double plus = 0, zero = 0;
    assert_int_equal(lw_plan_span_ohm(&plan, 2, LW_LADDER_WORST, &plus, &zero, NULL), LW_OK);
    // 10 K warmer than planned; 0.00393 per kelvin at 20 C as in `warm`.
    expect_near(plus, 0.0005 * 1.1 * 39.0 * (warm + 10 * 0.00393) + 2 * 0.010, 1e-12);
}

static void best_span_is_shorter_of_nominal_copper_and_cooler(void **state)
{
    (void)state;
    double plus = 0, zero = 0;
    assert_int_equal(lw_plan_span_ohm(&plan, 2, LW_LADDER_BEST, &plus, &zero, NULL), LW_OK);
    // IEC 60028: 1/58 ohm mm2/m.
    expect_near(plus, 0.5 * 0.9 / 58 / 0.5 * (warm - 10 * 0.00393) + 2 * 0.004, 1e-12);
}

static void ladder_has_loads_supplies_and_what_taps_add(void **state)
{
    (void)state;
    struct lw_ladder ladder;
    assert_int_equal(lw_plan_ladder(&plan, LW_LADDER_VERDICT, &ladder, NULL), LW_OK);
    assert_int_equal(ladder.tap_count, 4);
    assert_int_equal(ladder.source_count, 1);
    expect_near(ladder.taps[1].span_plus_ohm, 0.0005 * 39.0 * warm + 2 * 0.004 + 0.004, 1e-12);
    assert_int_equal(ladder.taps[1].load.kind, LW_LOAD_POWER);
    expect_near(ladder.taps[1].load.value, 0.9, 0);
    expect_near(ladder.taps[1].load.start_v, 19, 0);
    expect_near(ladder.taps[1].load.drop_out_v, 16, 0);
    expect_near(ladder.sources[0].volts, 24, 0);
    expect_near(ladder.sources[0].limit_a, 2.5, 0); // the curve begins at the cabinet's 40 C
    // IEC 60228, class 5: 19.5 ohm/km at most for 1 mm2.
    expect_near(ladder.sources[0].zero_ohm, 0.003 * 19.5 * warm + 2 * 0.005, 1e-12);
    expect_near(ladder.sources[0].plus_ohm, 0.02 + ladder.sources[0].zero_ohm, 1e-12);
    assert_int_equal(lw_ladder_check(&ladder, NULL), LW_OK);
    lw_ladder_free(&ladder);
}

static void worst_ladder_has_the_lowest_supply_and_the_highest_load(void **state)
{
    (void)state;
    struct lw_ladder ladder;
    assert_int_equal(lw_plan_ladder(&plan, LW_LADDER_BEST, &ladder, NULL), LW_OK);
    expect_near(ladder.sources[0].volts, 24 * 1.02, 1e-12);
    expect_near(ladder.taps[0].load.value, 0.9, 0);
    lw_ladder_free(&ladder);
    assert_int_equal(lw_plan_ladder(&plan, LW_LADDER_WORST, &ladder, NULL), LW_OK);
    expect_near(ladder.sources[0].volts, 24 * 0.98, 1e-12);
    expect_near(ladder.taps[0].load.value, 1.1, 0);
    lw_ladder_free(&ladder);
}

static void derating_at_the_cabinets_air_lowers_the_limit(void **state)
{
    (void)state;
    struct lw_plan hot;
    struct lw_ladder ladder;
    char says[LW_ERROR_SAYS];
    assert_int_equal(
        site_load_plan("\"cabinet_c\": 40", "\"cabinet_c\": 50", &hot, says, sizeof says), LW_OK);
    assert_int_equal(lw_plan_ladder(&hot, LW_LADDER_VERDICT, &ladder, NULL), LW_OK);
    expect_near(ladder.sources[0].limit_a, 2.5 * 0.8, 1e-12); // half-way from 1.0 to 0.6
    lw_ladder_free(&ladder);
    lw_plan_free(&hot);
}

static void second_supply_cuts_the_rails_it_says(void **state)
{
    (void)state;
    struct lw_plan two;
    struct lw_ladder ladder;
    char says[LW_ERROR_SAYS];
    assert_int_equal(site_load_plan("\"supplies\": [",
                                    "\"supplies\": [{\"name\": \"PS2\", \"nominal_v\": 24, "
                                    "\"limit_a\": 1, \"feeds_tap\": 3, \"cuts_before\": "
                                    "\"v_plus\"},",
                                    &two, says, sizeof says),
                     LW_OK);
    assert_int_equal(lw_plan_ladder(&two, LW_LADDER_VERDICT, &ladder, NULL), LW_OK);
    assert_true(ladder.taps[2].cut_plus && !ladder.taps[2].cut_zero);
    assert_false(ladder.taps[0].cut_plus || ladder.taps[1].cut_plus);
    assert_int_equal(ladder.sources[0].tap, 2);
    lw_ladder_free(&ladder);
    lw_plan_free(&two);
}

static void a_rail_may_have_a_conductor_of_its_own(void **state)
{
    (void)state;
    struct lw_plan mixed;
    char says[LW_ERROR_SAYS];
    double plus = 0, zero = 0;
    assert_int_equal(site_load_plan("{\"length_m\": 4.0}",
                                    "{\"length_m\": 10, \"joints\": 0, \"conductor_c\": 20, "
                                    "\"v_plus\": {\"ohm_per_km\": 20, \"parallel\": 2}, "
                                    "\"zero_v\": {\"awg\": 20, \"stranded\": true}}",
                                    &mixed, says, sizeof says),
                     LW_OK);
    assert_int_equal(lw_plan_span_ohm(&mixed, 3, LW_LADDER_VERDICT, &plus, &zero, NULL), LW_OK);
    expect_near(plus, 0.010 * 20 / 2, 1e-12);
    // AWG 20: 33.308 ohm/km, from ASTM B258's diameter and IEC 60028's copper; 1.13 for strands.
    // The figure is a table's, rounded: 0.1 %.
    expect_near(zero, 0.010 * 33.308 * 1.13, 0.001 * 0.010 * 33.308 * 1.13);
    lw_plan_free(&mixed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(span_for_verdicts_is_class_5_maximum_at_ambient),
        cmocka_unit_test(span_of_nominal_copper_is_the_other_end),
        cmocka_unit_test(worst_span_is_longer_with_worse_joints),
        cmocka_unit_test(best_span_is_shorter_of_nominal_copper_and_cooler),
        cmocka_unit_test(ladder_has_loads_supplies_and_what_taps_add),
        cmocka_unit_test(worst_ladder_has_the_lowest_supply_and_the_highest_load),
        cmocka_unit_test(derating_at_the_cabinets_air_lowers_the_limit),
        cmocka_unit_test(second_supply_cuts_the_rails_it_says),
        cmocka_unit_test(a_rail_may_have_a_conductor_of_its_own),
    };
    return cmocka_run_group_tests(tests, load_plan, free_plan);
}
