// SPDX-License-Identifier: GPL-3.0-or-later
//
// The weak span found from voltmeters with constant errors, in one state and by a load step.
#include "power/load_step.h"

#include "meters.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static const double source_u_v[] = {0.24};
static const double source_u_ohm[] = {0.05};
static const struct lw_weak_span_options one_state = {
    .source_u_v = source_u_v, .draw_u = 0.1, .conductor_u = 0.06};
static const struct lw_weak_span_options by_step = {.source_u_v = source_u_v,
                                                    .source_u_ohm = source_u_ohm,
                                                    .draw_u = 0.1,
                                                    .conductor_u = 0.06,
                                                    .step_a = 0.4};

static struct lw_weak_span find(const struct site *site, const struct lw_weak_span_options *options)
{
    struct lw_weak_span result;
    struct lw_error error = {0};
    assert_int_equal(
        lw_weak_span_find(&site->plan.ladder, site->states, site->meters, options, &result, &error),
        LW_OK);
    return result;
}

static bool is_near(const struct lw_weak_span *result, size_t span)
{
    return result->found && result->low <= span && span <= result->high &&
           result->span + 1 >= span && result->span <= span + 1;
}

static void a_healthy_chain_is_rarely_accused(void **state)
{
    (void)state;
    uint64_t seed = 2;
    int accused[2] = {0}, proved[2] = {0}, others = 0;
    for (int trial = 0; trial < 100; trial++) {
        struct site site;
        site_draw(&site, 24, &seed);
        assert_true(site_read_state(&site, &seed));
        struct lw_weak_span result = find(&site, &one_state);
        accused[0] += result.found;
        proved[0] += result.proved;
        others += result.draw_found + result.meter_found;
        lw_weak_span_finish(&result);
        assert_true(site_read_step(&site, 0.4, &seed));
        result = find(&site, &by_step);
        accused[1] += result.found;
        proved[1] += result.proved;
        lw_weak_span_finish(&result);
    }
    print_message("of 100 healthy chains accused: %d in one state, %d by a load step\n", accused[0],
                  accused[1]);
    // 5 expected at most; more than 12 happens once in 1000 (binomial).
    assert_true(accused[0] <= 12 && accused[1] <= 12);
    // 0.1 expected of each; 3 happens less than once in 1000.
    assert_true(proved[0] <= 2 && proved[1] <= 2 && others <= 2);
}

static void a_load_step_finds_a_bad_joint_even_at_the_far_end(void **state)
{
    (void)state;
    uint64_t seed = 3;
    int found = 0;
    for (int trial = 0; trial < 50; trial++) {
        struct site site;
        site_draw(&site, 24, &seed);
        site_break(&site, trial % 2 == 0 ? 23 : 1 + draw_below(&seed, 23), 0.2);
        assert_true(site_read_step(&site, 0.4, &seed));
        struct lw_weak_span result = find(&site, &by_step);
        found += is_near(&result, site.fault_span);
        if (result.found) {
            double extra_ohm = result.fits[site.fault_span].extra_ohm;
            assert_true(fabs(extra_ohm - 0.2) < 0.1);
        }
        lw_weak_span_finish(&result);
    }
    assert_true(found >= 47);
}

static void one_state_finds_a_joint_near_the_head_and_says_what_it_cannot_see(void **state)
{
    (void)state;
    uint64_t seed = 4;
    struct site site;
    site_draw(&site, 24, &seed);
    site_break(&site, 5, 0.5);
    assert_true(site_read_state(&site, &seed));
    struct lw_weak_span result = find(&site, &one_state);
    assert_true(is_near(&result, 5));
    assert_false(result.draw_found);
    double near_ohm = result.fits[2].smallest_visible_ohm;
    double far_ohm = result.fits[23].smallest_visible_ohm;
    assert_true(far_ohm > 10.0 * near_ohm);
    lw_weak_span_finish(&result);
    site_draw(&site, 24, &seed);
    assert_true(site_read_step(&site, 0.4, &seed));
    result = find(&site, &by_step);
    print_message("smallest visible: one state %.3f ohm at span 3, %.2f at the last; by a step of "
                  "0.4 A %.3f and %.3f\n",
                  near_ohm, far_ohm, result.fits[2].smallest_visible_ohm,
                  result.fits[23].smallest_visible_ohm);
    assert_true(result.fits[23].smallest_visible_ohm < 0.2);
    assert_true(result.fits[23].smallest_visible_ohm < 0.1 * far_ohm);
    lw_weak_span_finish(&result);
}

// A fault of the size that is said to be visible is found 95 times in 100; half that size is not
// promised. Two-sided binomial bounds at 1 in 1000 around what is claimed.
static void the_smallest_visible_fault_is_found_as_often_as_claimed(void **state)
{
    (void)state;
    uint64_t seed = 6;
    int found = 0;
    for (int trial = 0; trial < 100; trial++) {
        struct site site;
        site_draw(&site, 12, &seed);
        assert_true(site_read_step(&site, 0.4, &seed));
        struct lw_weak_span healthy = find(&site, &by_step);
        size_t span = 1 + draw_below(&seed, 11);
        site_break(&site, span, healthy.fits[span].smallest_visible_ohm);
        lw_weak_span_finish(&healthy);
        assert_true(site_read_step(&site, 0.4, &seed));
        struct lw_weak_span result = find(&site, &by_step);
        found += result.proved;
        lw_weak_span_finish(&result);
    }
    print_message("faults of the smallest visible size found: %d of 100\n", found);
    assert_true(found >= 86);
}

// A node that draws three times its plan bends the chain at its tap; the span before it bends it
// otherwise, and the readings tell which.
static void a_node_that_draws_too_much_is_named_and_not_a_span(void **state)
{
    (void)state;
    uint64_t seed = 8;
    int named = 0;
    int spans = 0;
    for (int trial = 0; trial < 40; trial++) {
        struct site site;
        site_draw(&site, 60, &seed);
        size_t tap = 30 + draw_below(&seed, 20);
        site.real.taps[tap].load.value += 8.0;
        assert_true(site_read_state(&site, &seed));
        struct lw_weak_span result = find(&site, &one_state);
        named += result.draw_found && result.draw_tap + 3 >= tap && result.draw_tap <= tap + 3;
        spans += result.found && !result.draw_found;
        lw_weak_span_finish(&result);
    }
    print_message("of 40 nodes with 8 W too much %d named within three, %d times a span instead\n",
                  named, spans);
    assert_true(named >= 36 && spans <= 2);
}

// 1 A flows already; span 1 of 2 ohm a loop: the second node may fall from 22 to 20 V by 1 A more.
// Its own reading stands alone; the spans on both sides are not accused.
static void a_voltmeter_that_is_off_is_told_from_a_joint(void **state)
{
    (void)state;
    uint64_t seed = 9;
    int named = 0, accused = 0;
    for (int trial = 0; trial < 40; trial++) {
        struct site site;
        site_draw(&site, 24, &seed);
        size_t tap = 2 + draw_below(&seed, 20);
        site.offset_v[tap] -= 0.25; // 14 standard uncertainties
        assert_true(site_read_state(&site, &seed));
        struct lw_weak_span result = find(&site, &one_state);
        named += result.meter_found && result.meter_tap == tap &&
                 fabs(result.meters[tap].offset_v + 0.25) < 4 * 0.025;
        accused += result.found;
        lw_weak_span_finish(&result);
    }
    print_message("of 40 voltmeters 0.25 V off %d named, %d spans accused instead\n", named,
                  accused);
    assert_true(named >= 38 && accused == 0);
}

// Volts from one tap to the next along one rail, by a hand meter that is good to 2 mV.
static struct lw_probe rail_drop(const struct site *site, size_t span, enum lw_rail rail)
{
    struct lw_point point;
    struct lw_error error = {0};
    assert_int_equal(lw_point_init(&site->real.ladder, &point, &error), LW_OK);
    all_run(&site->real.ladder, &point);
    assert_int_equal(lw_ladder_solve(&site->real.ladder, &point, &error), LW_OK);
    const double *volts = rail == LW_RAIL_PLUS ? point.plus_v : point.zero_v;
    struct lw_probe probe = {
        {.volts = volts[span - 1] - volts[span], .node_u_v = 0.002, .kind = -1},
        {span - 1, span},
        {rail, rail}};
    lw_point_finish(&point);
    return probe;
}

static void a_hand_meter_along_both_rails_sees_what_voltmeters_cannot(void **state)
{
    (void)state;
    uint64_t seed = 10;
    struct site site;
    site_draw(&site, 24, &seed);
    site.real.taps[22].span_zero_ohm += 0.2;
    assert_true(site_read_state(&site, &seed));
    struct lw_weak_span result = find(&site, &one_state);
    assert_false(result.found);
    lw_weak_span_finish(&result);
    const struct lw_probe probes[] = {rail_drop(&site, 22, LW_RAIL_PLUS),
                                      rail_drop(&site, 22, LW_RAIL_ZERO)};
    struct lw_weak_span_options with = one_state;
    with.probes = probes;
    with.probe_count = 2;
    result = find(&site, &with);
    assert_true(result.proved);
    assert_int_equal(result.span, 22);
    assert_int_equal(result.low, 22);
    assert_int_equal(result.high, 22);
    assert_true(result.fits[22].on_zero_v);
    assert_true(fabs(result.fits[22].extra_ohm - 0.2) < 0.1);
    lw_weak_span_finish(&result);
}

static void a_load_step_is_as_large_as_the_tail_allows(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain.taps[1] =
        (struct lw_tap){1.0, 1.0, false, false, {LW_LOAD_CURRENT, 1.0, 16.0, 19.0, 0.0}};
    chain_feed(&chain, 0, 24.0, 1e-6, 0.0, 3.0);
    const enum lw_load_state states[] = {LW_LOAD_OFF, LW_LOAD_RUNNING};
    const double minimum_v[] = {20.0, 20.0};
    const double rated_a[] = {INFINITY, 1.7};
    struct lw_carry_limits limits = {.minimum_v = minimum_v};
    struct lw_error error = {0};
    double amperes = 0.0;
    assert_int_equal(lw_load_step_size(&chain.ladder, states, &limits, 5.0, &amperes, &error),
                     LW_OK);
    assert_true(amperes <= 1.0 && amperes > 0.998);
    assert_int_equal(lw_load_step_size(&chain.ladder, states, &limits, 0.5, &amperes, &error),
                     LW_OK);
    assert_true(amperes == 0.5);
    limits.rated_a = rated_a;
    assert_int_equal(lw_load_step_size(&chain.ladder, states, &limits, 5.0, &amperes, &error),
                     LW_OK);
    assert_true(amperes <= 0.7 && amperes > 0.698);
}

static void two_voltmeters_are_too_few(void **state)
{
    (void)state;
    uint64_t seed = 9;
    struct site site;
    site_draw(&site, 2, &seed);
    assert_true(site_read_state(&site, &seed));
    struct lw_weak_span result;
    struct lw_error error = {0};
    assert_int_equal(
        lw_weak_span_find(&site.plan.ladder, site.states, site.meters, &one_state, &result, &error),
        LW_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_healthy_chain_is_rarely_accused),
        cmocka_unit_test(a_load_step_finds_a_bad_joint_even_at_the_far_end),
        cmocka_unit_test(one_state_finds_a_joint_near_the_head_and_says_what_it_cannot_see),
        cmocka_unit_test(the_smallest_visible_fault_is_found_as_often_as_claimed),
        cmocka_unit_test(a_node_that_draws_too_much_is_named_and_not_a_span),
        cmocka_unit_test(a_voltmeter_that_is_off_is_told_from_a_joint),
        cmocka_unit_test(a_hand_meter_along_both_rails_sees_what_voltmeters_cannot),
        cmocka_unit_test(a_load_step_is_as_large_as_the_tail_allows),
        cmocka_unit_test(two_voltmeters_are_too_few),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
