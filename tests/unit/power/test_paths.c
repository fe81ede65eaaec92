// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who is still on, by a stated path. The judge of the rule is an enumeration of all states of small
// chains that has nothing in common with it but the solution of one fixed state.
#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_ladder_path running(const struct lw_ladder *ladder)
{
    struct lw_ladder_path path;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(ladder, &error), LW_OK);
    assert_int_equal(lw_ladder_running(ladder, &path, &error), LW_OK);
    return path;
}

static struct lw_ladder_path cold(const struct lw_ladder *ladder)
{
    struct lw_ladder_path path;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_cold(ladder, &path, &error), LW_OK);
    return path;
}

static double volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

static void a_healthy_chain_keeps_everybody_on(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 24);
    chain_fill(&chain, 0.02, 0.02, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.1, 0.06, 2.5);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_true(path.all_on && path.all_on_exists);
    assert_true(path.load_factor == 1.0);
    lw_ladder_path_finish(&path);
    path = cold(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
}

// 60 taps of 1.0 W on a thin cable: shedding one by one keeps more than half of them, where
// switching all starved ones off at once would keep fewer.
static void nodes_are_shed_from_the_far_end_one_by_one(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 60);
    chain_fill(&chain, 0.06, 0.06, power_load(1.0));
    chain_feed(&chain, 0, 24.0, 0.1, 0.06, INFINITY);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_false(path.all_on);
    assert_true(path.shed_count > 0 && path.shed_count < 60);
    for (size_t i = 0; i < path.shed_count; i++) {
        assert_int_equal(path.shed[i], 59 - i);
    }
    for (size_t i = 0; i < 60 - path.shed_count; i++) {
        assert_true(volts(&path.point, i) >= 16.0);
    }
    lw_ladder_path_finish(&path);
}

// Without its own draw the node sees 24 V, with it 24 V behind 9 ohm and 20 W is past the fold.
static void a_shed_node_that_would_start_again_resets_in_turn(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, power_load(20.0));
    chain_feed(&chain, 0, 24.0, 9.0, 0.0, INFINITY);
    struct lw_ladder_path path = running(&chain.ladder);
    assert_false(path.all_on_exists);
    assert_true(path.point.exists);
    assert_int_equal(path.shed_count, 1);
    assert_true(path.resets_in_turn[0]);
    assert_true(fabs(path.load_factor - 0.8) <= 1e-3);
    lw_ladder_path_finish(&path);
}

// 2.5 A carry 27 start-up currents of 0.09 A and no more; 28 hang at the drop-out voltage for ever,
// though all 28 would run: 28 x 0.9 W at 24 V are 1.05 A.
static void a_cold_start_needs_the_start_up_current_of_all(void **state)
{
    (void)state;
    struct chain chain;
    struct lw_ladder_path path;
    chain_begin(&chain, 27);
    chain_fill(&chain, 0.0, 0.0, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    path = cold(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
    chain_begin(&chain, 28);
    chain_fill(&chain, 0.0, 0.0, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    path = cold(&chain.ladder);
    assert_false(path.all_on);
    for (size_t i = 0; i < 28; i++) {
        assert_true(path.trapped[i]);
        assert_true(fabs(volts(&path.point, i) - 16.0) < 2e-3);
    }
    lw_ladder_path_finish(&path);
    path = running(&chain.ladder);
    assert_true(path.all_on);
    lw_ladder_path_finish(&path);
}

static void a_latched_supply_takes_its_whole_chain_down(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 5);
    chain_fill(&chain, 0.01, 0.01, power_load(6.0));
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 1.0)->past_limit = LW_LATCH_OFF;
    struct lw_ladder_path path = running(&chain.ladder);
    assert_int_equal(path.shed_count, 5);
    assert_int_equal(path.point.source_mode[0], LW_SOURCE_OFF);
    assert_true(path.point.exists);
    lw_ladder_path_finish(&path);
}

static void a_step_sheds_starts_and_says_so(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain_fill(&chain, 0.5, 0.5, power_load(2.0));
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY);
    struct lw_point point;
    struct lw_error error = {0};
    bool changed = false;
    assert_int_equal(lw_point_init(&chain.ladder, &point, &error), LW_OK);
    point.load_state[0] = LW_LOAD_WAITING;
    point.load_state[1] = LW_LOAD_WAITING;
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_true(changed);
    assert_int_equal(point.load_state[1], LW_LOAD_RUNNING);
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_false(changed);
    chain.sources[0].volts = 15.0;
    assert_int_equal(lw_ladder_step(&chain.ladder, &point, &changed, &error), LW_OK);
    assert_true(changed);
    assert_int_equal(point.load_state[0], LW_LOAD_OFF);
    lw_point_finish(&point);
}

// All on/off states of a chain that hold themselves: who is on sees drop-out or more. The states
// off and waiting for a restart are no concern here, so an off node may see any voltage.
struct enumeration {
    const struct lw_ladder *ladder;
    struct lw_point point;
    bool *consistent; // per bit pattern
    bool *solvable;
};

static void set_pattern(struct enumeration *all, unsigned pattern)
{
    for (size_t i = 0; i < all->ladder->tap_count; i++) {
        bool on = (pattern >> i & 1U) && all->ladder->taps[i].load.kind != LW_LOAD_NONE;
        all->point.load_state[i] = on ? LW_LOAD_RUNNING : LW_LOAD_OFF;
    }
    for (size_t s = 0; s < all->ladder->source_count; s++) {
        all->point.source_mode[s] = LW_SOURCE_VOLTAGE;
    }
}

static void enumerate(struct enumeration *all)
{
    struct lw_error error = {0};
    for (unsigned pattern = 0; pattern < 1U << all->ladder->tap_count; pattern++) {
        set_pattern(all, pattern);
        assert_int_equal(lw_ladder_solve(all->ladder, &all->point, &error), LW_OK);
        all->solvable[pattern] = all->point.exists;
        all->consistent[pattern] = all->point.exists;
        for (size_t i = 0; i < all->ladder->tap_count; i++) {
            if (all->point.load_state[i] == LW_LOAD_RUNNING &&
                volts(&all->point, i) < all->ladder->taps[i].load.drop_out_v) {
                all->consistent[pattern] = false;
            }
        }
    }
}

static unsigned pattern_of(const struct lw_point *point, size_t count)
{
    unsigned pattern = 0;
    for (size_t i = 0; i < count; i++) {
        pattern |= (unsigned)(point->load_state[i] == LW_LOAD_RUNNING) << i;
    }
    return pattern;
}

static void the_rule_ends_in_a_state_that_enumeration_finds(void **state)
{
    (void)state;
    static bool consistent[1U << 12];
    static bool solvable[1U << 12];
    uint64_t seed = 20261125;
    int shedding = 0;
    int without = 0;
    for (int trial = 0; trial < 60; trial++) {
        struct chain chain;
        size_t count = 1 + draw_below(&seed, trial < 50 ? 8 : 12);
        chain_draw(&chain, count, &seed);
        double heavier = exp(draw_in(&seed, 0.0, 6.0));
        unsigned everybody = 0;
        for (size_t i = 0; i < count; i++) {
            struct lw_load *load = &chain.taps[i].load;
            load->value *= load->kind == LW_LOAD_RESISTOR ? 1.0 / heavier : heavier;
            chain.taps[i].span_plus_ohm *= 20.0;
            chain.taps[i].span_zero_ohm *= 20.0;
            everybody |= (unsigned)(load->kind != LW_LOAD_NONE) << i;
        }
        struct lw_ladder_path path = running(&chain.ladder);
        struct enumeration all = {
            .ladder = &chain.ladder, .consistent = consistent, .solvable = solvable};
        struct lw_error error = {0};
        assert_int_equal(lw_point_init(&chain.ladder, &all.point, &error), LW_OK);
        enumerate(&all);
        assert_true(path.point.exists);
        assert_true(consistent[pattern_of(&path.point, count)]);
        assert_int_equal(path.all_on_exists, solvable[everybody]);
        assert_int_equal(path.all_on, consistent[everybody]);
        shedding += path.shed_count > 0;
        without += !path.all_on_exists;
        lw_point_finish(&all.point);
        lw_ladder_path_finish(&path);
    }
    print_message("%d of 60 chains shed, %d had no operating point with all on\n", shedding,
                  without);
    assert_true(shedding >= 10 && without >= 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_healthy_chain_keeps_everybody_on),
        cmocka_unit_test(nodes_are_shed_from_the_far_end_one_by_one),
        cmocka_unit_test(a_shed_node_that_would_start_again_resets_in_turn),
        cmocka_unit_test(a_cold_start_needs_the_start_up_current_of_all),
        cmocka_unit_test(a_latched_supply_takes_its_whole_chain_down),
        cmocka_unit_test(a_step_sheds_starts_and_says_so),
        cmocka_unit_test(the_rule_ends_in_a_state_that_enumeration_finds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
