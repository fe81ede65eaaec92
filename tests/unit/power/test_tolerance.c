// SPDX-License-Identifier: GPL-3.0-or-later
//
// Worst cases that no combination undercuts, and probabilities against exact ones.
#include "power/lottery.h"
#include "power/tolerance.h"

#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

// Two ends of a chain: resistances up to 1.4, loads up to 1.2 times, sources down by 0.5 V.
static void make_worst(const struct chain *best, struct chain *worst)
{
    *worst = *best;
    worst->ladder.taps = worst->taps;
    worst->ladder.sources = worst->sources;
    worst->ladder.bonds = worst->bonds;
    for (size_t i = 0; i < worst->ladder.tap_count; i++) {
        struct lw_load *load = &worst->taps[i].load;
        worst->taps[i].span_plus_ohm *= 1.4;
        worst->taps[i].span_zero_ohm *= 1.4;
        load->value *= load->kind == LW_LOAD_RESISTOR ? 1.0 / 1.2 : 1.2;
    }
    for (size_t s = 0; s < worst->ladder.source_count; s++) {
        worst->sources[s].volts -= 0.5;
        worst->sources[s].plus_ohm *= 1.4;
    }
}

static void mix(const struct chain *best, const struct chain *worst, struct chain *mixed,
                uint64_t *seed)
{
    *mixed = *best;
    mixed->ladder.taps = mixed->taps;
    mixed->ladder.sources = mixed->sources;
    mixed->ladder.bonds = mixed->bonds;
    for (size_t i = 0; i < best->ladder.tap_count; i++) {
        const struct lw_tap *one = &best->taps[i];
        const struct lw_tap *other = &worst->taps[i];
        // Ends rather than middles: that is where extremes lie.
        mixed->taps[i].span_plus_ohm = draw(seed) < 0.5 ? one->span_plus_ohm : other->span_plus_ohm;
        mixed->taps[i].span_zero_ohm = draw(seed) < 0.5 ? one->span_zero_ohm : other->span_zero_ohm;
        mixed->taps[i].load.value = draw(seed) < 0.5 ? one->load.value : other->load.value;
    }
    for (size_t s = 0; s < best->ladder.source_count; s++) {
        mixed->sources[s].volts =
            draw(seed) < 0.5 ? best->sources[s].volts : worst->sources[s].volts;
    }
}

static void no_combination_undercuts_an_exact_worst_case_or_a_bound(void **state)
{
    (void)state;
    uint64_t seed = 99;
    int kinds[3] = {0};
    for (int trial = 0; trial < 120; trial++) {
        struct chain best;
        struct chain worst;
        chain_draw(&best, 2 + draw_below(&seed, 30), &seed);
        make_worst(&best, &worst);
        struct lw_worst_case result;
        struct lw_error error = {0};
        assert_int_equal(lw_worst_case_find(&worst.ladder, &result, &error), LW_OK);
        kinds[result.kind]++;
        for (int k = 0; k < 30 && result.kind != LW_WORST_ESTIMATE; k++) {
            struct chain mixed;
            mix(&best, &worst, &mixed, &seed);
            struct lw_point point;
            assert_int_equal(lw_point_init(&mixed.ladder, &point, &error), LW_OK);
            all_run(&mixed.ladder, &point);
            assert_int_equal(lw_ladder_solve(&mixed.ladder, &point, &error), LW_OK);
            assert_true(point.exists);
            for (size_t i = 0; i < mixed.ladder.tap_count; i++) {
                assert_true(point.plus_v[i] - point.zero_v[i] >= result.volts[i] - 1e-9);
            }
            lw_point_finish(&point);
        }
        lw_worst_case_finish(&result);
    }
    assert_true(kinds[LW_WORST_EXACT] > 10 && kinds[LW_WORST_BOUND] > 10);
}

// One load of 1 A behind 1 ohm, the source evenly between 22 and 24 V: under 21.5 V in a quarter.
static void one_drawn_number_gives_its_exact_probability(void **state)
{
    (void)state;
    struct chain best;
    chain_begin(&best, 1);
    chain_fill(&best, 0.0, 0.0, (struct lw_load){LW_LOAD_CURRENT, 1.0, 10.0, 12.0, 0.0});
    chain_feed(&best, 0, 24.0, 1.0, 0.0, INFINITY);
    struct chain worst = best;
    worst.ladder.taps = worst.taps;
    worst.ladder.sources = worst.sources;
    worst.sources[0].volts = 22.0;
    double minimum_v = 21.5;
    struct lw_draw_options options = {
        .seed = 5, .draws = 20000, .minimum_v = &minimum_v, .confidence = 0.999};
    struct lw_draws draws;
    struct lw_error error = {0};
    assert_int_equal(lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &draws, &error),
                     LW_OK);
    assert_true(draws.any.low < 0.25 && draws.any.high > 0.25);
    assert_true(draws.any.high - draws.any.low < 0.03);
    assert_true(fabs(draws.mean_v[0] - 22.0) < 0.02);
    struct lw_probability tap;
    assert_int_equal(lw_draws_tap(&draws, 0, 0.999, &tap, &error), LW_OK);
    assert_true(tap.estimate == draws.any.estimate);
    lw_draws_finish(&draws);
}

// The same with limits that lie 2e-6, 2e-4 and 2e-2 of a volt above the lowest: one in 10^6, ...
static void a_rare_failure_gets_its_exact_probability_too(void **state)
{
    (void)state;
    struct chain best;
    chain_begin(&best, 1);
    chain_fill(&best, 0.0, 0.0, (struct lw_load){LW_LOAD_CURRENT, 1.0, 10.0, 12.0, 0.0});
    chain_feed(&best, 0, 24.0, 1.0, 0.0, INFINITY);
    struct chain worst = best;
    worst.ladder.taps = worst.taps;
    worst.ladder.sources = worst.sources;
    worst.sources[0].volts = 22.0;
    static const double chances[] = {1e-6, 1e-4, 1e-2};
    for (size_t i = 0; i < 3; i++) {
        double minimum_v = 21.0 + 2.0 * chances[i];
        struct lw_draw_options options = {
            .seed = 8 + i, .draws = 20000, .minimum_v = &minimum_v, .confidence = 0.999};
        struct lw_rare rare;
        struct lw_error error = {0};
        assert_int_equal(lw_tolerance_rare(&best.ladder, &worst.ladder, &options, &rare, &error),
                         LW_OK);
        assert_true(rare.probability.low < chances[i] && rare.probability.high > chances[i]);
        assert_true(rare.probability.high < 1.2 * rare.probability.low);
    }
}

static void rare_and_plain_drawing_agree_on_a_chain(void **state)
{
    (void)state;
    struct chain best;
    chain_begin(&best, 24);
    chain_fill(&best, 0.03, 0.03, power_load(0.9));
    chain_feed(&best, 0, 24.0, 0.1, 0.06, INFINITY);
    struct chain worst;
    make_worst(&best, &worst);
    double minimum_v[24];
    for (size_t i = 0; i < 24; i++) {
        minimum_v[i] = 22.43;
    }
    struct lw_draw_options options = {.seed = 3,
                                      .draws = 20000,
                                      .common_share = 0.5,
                                      .minimum_v = minimum_v,
                                      .confidence = 0.999};
    struct lw_draws plain;
    struct lw_rare rare;
    struct lw_error error = {0};
    assert_int_equal(lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &plain, &error),
                     LW_OK);
    assert_int_equal(lw_tolerance_rare(&best.ladder, &worst.ladder, &options, &rare, &error),
                     LW_OK);
    print_message("plain %.3g..%.3g, shifted %.3g..%.3g, design point at %.2f\n", plain.any.low,
                  plain.any.high, rare.probability.low, rare.probability.high, rare.distance);
    assert_true(plain.any_under > 10);
    assert_true(rare.probability.low < plain.any.high && plain.any.low < rare.probability.high);
    assert_true(rare.probability.high - rare.probability.low < plain.any.high - plain.any.low);
    lw_draws_finish(&plain);
}

static void the_same_seed_draws_the_same_and_another_tap_changes_nobody_else(void **state)
{
    (void)state;
    struct chain best;
    struct chain worst;
    struct lw_draws draws[2];
    struct lw_error error = {0};
    struct lw_draw_options options = {.seed = 12, .draws = 50, .confidence = 0.95};
    for (size_t k = 0; k < 2; k++) {
        chain_begin(&best, 5 + k);
        chain_fill(&best, 0.1, 0.1, (struct lw_load){LW_LOAD_CURRENT, 0.1, 10.0, 12.0, 0.0});
        best.taps[5].load.kind = LW_LOAD_NONE;
        chain_feed(&best, 0, 24.0, 0.1, 0.0, INFINITY);
        make_worst(&best, &worst);
        assert_int_equal(
            lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &draws[k], &error), LW_OK);
    }
    for (size_t i = 0; i < 5; i++) {
        assert_true(fabs(draws[0].mean_v[i] - draws[1].mean_v[i]) < 1e-12);
    }
    lw_draws_finish(&draws[0]);
    lw_draws_finish(&draws[1]);
}

static void followed_solutions_are_those_found_afresh(void **state)
{
    (void)state;
    uint64_t seed = 555;
    for (int trial = 0; trial < 100; trial++) {
        struct chain best;
        struct chain worst;
        struct lw_lottery lottery;
        struct lw_error error = {0};
        chain_draw(&best, 2 + draw_below(&seed, 60), &seed);
        make_worst(&best, &worst);
        struct lw_draw_options options = {.draws = 1, .common_share = 0.3, .confidence = 0.95};
        assert_int_equal(lw_lottery_init(&lottery, &best.ladder, &worst.ladder, &options, &error),
                         LW_OK);
        for (size_t k = 0; k < lottery.count; k++) {
            lottery.share[k] = draw(&seed);
        }
        bool exists = lw_lottery_solve(&lottery);
        struct lw_point point;
        assert_int_equal(lw_point_init(&lottery.ladder, &point, &error), LW_OK);
        all_run(&lottery.ladder, &point);
        assert_int_equal(lw_ladder_solve(&lottery.ladder, &point, &error), LW_OK);
        assert_int_equal(exists, point.exists);
        for (size_t i = 0; exists && i < lottery.ladder.tap_count; i++) {
            assert_true(fabs(lottery.solver.volts[i] - point.plus_v[i] + point.zero_v[i]) < 1e-6);
        }
        lw_point_finish(&point);
        lw_lottery_finish(&lottery);
    }
}

static void ends_of_different_shape_are_refused(void **state)
{
    (void)state;
    struct chain best;
    struct chain worst;
    struct lw_draws draws;
    struct lw_error error = {0};
    struct lw_draw_options options = {.seed = 1, .draws = 1, .confidence = 0.95};
    chain_begin(&best, 3);
    chain_feed(&best, 0, 24.0, 0.1, 0.0, INFINITY);
    make_worst(&best, &worst);
    worst.taps[1].cut_plus = true;
    assert_int_equal(lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &draws, &error),
                     LW_USAGE);
    worst.taps[1].cut_plus = false;
    options.common_share = 1.5;
    assert_int_equal(lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &draws, &error),
                     LW_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_combination_undercuts_an_exact_worst_case_or_a_bound),
        cmocka_unit_test(one_drawn_number_gives_its_exact_probability),
        cmocka_unit_test(a_rare_failure_gets_its_exact_probability_too),
        cmocka_unit_test(rare_and_plain_drawing_agree_on_a_chain),
        cmocka_unit_test(the_same_seed_draws_the_same_and_another_tap_changes_nobody_else),
        cmocka_unit_test(followed_solutions_are_those_found_afresh),
        cmocka_unit_test(ends_of_different_shape_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
