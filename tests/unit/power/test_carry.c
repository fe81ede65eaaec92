// SPDX-License-Identifier: GPL-3.0-or-later
//
// How many nodes a supply carries and what gives first, by hand and against counting up.
#include "power/carry.h"

#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_load current_load(double amperes)
{
    return (struct lw_load){LW_LOAD_CURRENT, amperes, 16.0, 19.0, 0.0};
}

static struct lw_carry carry_of(const struct chain *chain, const struct lw_carry_limits *limits)
{
    struct lw_carry carry;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_carry(&chain->ladder, limits, &carry, &error), LW_OK);
    return carry;
}

static const struct lw_carry_limits none;

static void all_nodes_of_a_healthy_chain_are_carried(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 20);
    chain_fill(&chain, 0.01, 0.01, power_load(0.9));
    chain.taps[3].load.kind = LW_LOAD_NONE;
    chain_feed(&chain, 0, 24.0, 0.05, 0.0, 2.5);
    struct lw_carry carry = carry_of(&chain, &none);
    assert_int_equal(carry.nodes, 19);
    assert_int_equal(carry.give, LW_GIVES_NOTHING);
}

// 0.1 A each against 1.05 A.
static void a_current_limit_gives_first(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 20);
    chain_fill(&chain, 0.0, 0.0, current_load(0.1));
    chain_feed(&chain, 0, 24.0, 0.05, 0.0, 1.05);
    static const enum lw_past_limit kinds[] = {LW_CONSTANT_CURRENT, LW_FOLD_BACK, LW_HICCUP,
                                               LW_LATCH_OFF};
    for (size_t i = 0; i < 4; i++) {
        chain.sources[0].past_limit = kinds[i];
        struct lw_carry carry = carry_of(&chain, &none);
        assert_int_equal(carry.nodes, 10);
        assert_int_equal(carry.give, LW_GIVES_SUPPLY_LIMIT);
    }
}

// k loads of 0.5 A on spans of 0.4 ohm a loop: the last sees 24 - 0.2 k (k - 1) / 2 V, which is 18
// or more up to k = 8 (18.4) and not at 9 (16.8).
static void the_far_node_s_voltage_gives_first(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 20);
    chain_fill(&chain, 0.2, 0.2, current_load(0.5));
    chain_feed(&chain, 0, 24.0, 1e-6, 0.0, INFINITY);
    double minimum_v[20];
    for (size_t i = 0; i < 20; i++) {
        minimum_v[i] = 18.0;
    }
    struct lw_carry carry = carry_of(&chain, &(struct lw_carry_limits){.minimum_v = minimum_v});
    assert_int_equal(carry.nodes, 8);
    assert_int_equal(carry.give, LW_GIVES_VOLTAGE);
    assert_int_equal(carry.tap, 8);
}

// Span 1 carries all but the first node: rated for 2.2 A it takes 4 of 0.5 A, hence 5 nodes.
static void a_span_rating_gives_first(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 8);
    chain_fill(&chain, 0.0, 0.0, current_load(0.5));
    chain_feed(&chain, 0, 24.0, 0.01, 0.0, INFINITY);
    double rated_a[8];
    for (size_t i = 0; i < 8; i++) {
        rated_a[i] = 2.2;
    }
    struct lw_carry carry = carry_of(&chain, &(struct lw_carry_limits){.rated_a = rated_a});
    assert_int_equal(carry.nodes, 5);
    assert_int_equal(carry.give, LW_GIVES_RATING);
    assert_int_equal(carry.tap, 1);
}

// All at one point behind 1 ohm: 24 V carry 144 W at most, so 9 of 15 W.
static void a_collapse_gives_first_when_nothing_else_does(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 12);
    struct lw_load load = power_load(15.0);
    load.drop_out_v = 0.0;
    chain_fill(&chain, 0.0, 0.0, load);
    chain_feed(&chain, 0, 24.0, 1.0, 0.0, INFINITY);
    struct lw_carry carry = carry_of(&chain, &none);
    assert_int_equal(carry.nodes, 9);
    assert_int_equal(carry.give, LW_GIVES_COLLAPSE);
    assert_int_equal(carry.tap, 9);
}

static bool carries(const struct lw_ladder *ladder, size_t loads)
{
    struct lw_point point;
    struct lw_error error = {0};
    assert_int_equal(lw_point_init(ladder, &point, &error), LW_OK);
    for (size_t i = 0; i < ladder->tap_count; i++) {
        bool on = ladder->taps[i].load.kind != LW_LOAD_NONE && loads > 0;
        point.load_state[i] = on ? LW_LOAD_RUNNING : LW_LOAD_OFF;
        loads -= on;
    }
    assert_int_equal(lw_ladder_solve(ladder, &point, &error), LW_OK);
    bool fine = point.exists;
    for (size_t s = 0; s < ladder->source_count; s++) {
        fine = fine && point.source_mode[s] != LW_SOURCE_LIMITED;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        fine = fine && (point.load_state[i] != LW_LOAD_RUNNING ||
                        point.plus_v[i] - point.zero_v[i] >= ladder->taps[i].load.drop_out_v);
    }
    lw_point_finish(&point);
    return fine;
}

static void halving_finds_what_counting_up_finds(void **state)
{
    (void)state;
    uint64_t seed = 31;
    for (int trial = 0; trial < 40; trial++) {
        struct chain chain;
        chain_draw(&chain, 1 + draw_below(&seed, 60), &seed);
        double heavier = exp(draw_in(&seed, 0.0, 4.0));
        size_t loads = 0;
        for (size_t i = 0; i < chain.ladder.tap_count; i++) {
            struct lw_load *load = &chain.taps[i].load;
            load->value *= load->kind == LW_LOAD_RESISTOR ? 1.0 / heavier : heavier;
            loads += load->kind != LW_LOAD_NONE;
        }
        size_t counted = 0;
        while (counted < loads && carries(&chain.ladder, counted + 1)) {
            counted++;
        }
        assert_int_equal(carry_of(&chain, &none).nodes, counted);
    }
}

static void the_highest_voltage_is_that_without_load(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 3);
    chain_fill(&chain, 0.5, 0.5, power_load(5.0));
    chain_feed(&chain, 0, 28.0, 0.1, 0.0, 2.0);
    chain_feed(&chain, 2, 24.0, 0.1, 0.0, 2.0);
    double volts[3];
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_highest(&chain.ladder, volts, &error), LW_OK);
    for (size_t i = 0; i < 3; i++) {
        assert_true(fabs(volts[i] - 28.0) < 1e-9);
    }
}

static void a_boost_counts_only_if_it_outlasts_the_start(void **state)
{
    (void)state;
    static const double start_up_s[] = {0.18, 0.25, 0.1};
    double starting_s = lw_starting_s(start_up_s, 3, 0.5);
    assert_true(fabs(starting_s - 0.75) < 1e-12);
    assert_true(lw_boosted_limit_a(2.5, 3.75, 5.0, starting_s) == 3.75);
    assert_true(lw_boosted_limit_a(2.5, 3.75, 0.7, starting_s) == 2.5);
    assert_true(lw_boosted_limit_a(2.5, 0.0, 5.0, starting_s) == 2.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_nodes_of_a_healthy_chain_are_carried),
        cmocka_unit_test(a_current_limit_gives_first),
        cmocka_unit_test(the_far_node_s_voltage_gives_first),
        cmocka_unit_test(a_span_rating_gives_first),
        cmocka_unit_test(a_collapse_gives_first_when_nothing_else_does),
        cmocka_unit_test(halving_finds_what_counting_up_finds),
        cmocka_unit_test(the_highest_voltage_is_that_without_load),
        cmocka_unit_test(a_boost_counts_only_if_it_outlasts_the_start),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
