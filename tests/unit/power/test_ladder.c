// SPDX-License-Identifier: GPL-3.0-or-later
//
// One solution of the ladder: by hand, by Kirchhoff's laws, by its symmetries, and refusals.
#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void near(double value, double wanted, double within)
{
    if (!(fabs(value - wanted) <= within)) {
        fail_msg("%.15g is further than %g from %.15g", value, within, wanted);
    }
}

static struct lw_point solve_all_on(const struct lw_ladder *ladder)
{
    struct lw_point point;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(ladder, &error), LW_OK);
    assert_int_equal(lw_point_init(ladder, &point, &error), LW_OK);
    all_run(ladder, &point);
    assert_int_equal(lw_ladder_solve(ladder, &point, &error), LW_OK);
    return point;
}

static double volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

// u (24 - u) / R = P, hence u = 12 + sqrt(144 - P R).
static void one_node_takes_the_upper_root_of_its_quadratic(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, power_load(10.0));
    chain_feed(&chain, 0, 24.0, 0.7, 0.3, INFINITY);
    struct lw_point point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    near(volts(&point, 0), 12.0 + sqrt(134.0), 1e-12);
    near(point.source_a[0], 10.0 / (12.0 + sqrt(134.0)), 1e-12);
    near(point.zero_v[0], 0.3 * point.source_a[0], 1e-12);
    lw_point_finish(&point);
}

static void one_node_past_its_largest_power_has_no_operating_point(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_feed(&chain, 0, 24.0, 0.7, 0.3, INFINITY);
    chain_fill(&chain, 0.0, 0.0, power_load(143.9999));
    struct lw_point point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    near(volts(&point, 0), 12.0 + sqrt(1e-4), 1e-6);
    lw_point_finish(&point);
    chain_fill(&chain, 0.0, 0.0, power_load(144.0 * 1.25));
    point = solve_all_on(&chain.ladder);
    assert_false(point.exists);
    near(point.load_factor, 0.8, 1e-3);
    assert_true(point.load_factor <= 0.8);
    lw_point_finish(&point);
}

// Three taps of 50 mA behind 1 ohm a rail: spans carry 100 and 50 mA.
static void constant_currents_drop_volts_span_by_span(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 3);
    chain_fill(&chain, 1.0, 1.0, (struct lw_load){LW_LOAD_CURRENT, 0.05, 16.0, 19.0, 0.0});
    chain_feed(&chain, 0, 24.0, 1.0, 0.0, INFINITY);
    struct lw_point point = solve_all_on(&chain.ladder);
    near(point.plus_v[0], 23.85, 1e-12);
    near(point.plus_v[1], 23.75, 1e-12);
    near(point.plus_v[2], 23.70, 1e-12);
    near(point.zero_v[0], 0.0, 1e-12);
    near(point.zero_v[2], 0.15, 1e-12);
    near(point.span_plus_a[1], 0.1, 1e-12);
    near(point.span_zero_a[2], 0.05, 1e-12);
    lw_point_finish(&point);
}

// 24 V behind 1 ohm, a limit of 1 A, and 12 ohm: the supply gives 1 A into 12 V.
static void a_limited_source_gives_its_limit(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, (struct lw_load){LW_LOAD_RESISTOR, 12.0, 5.0, 6.0, 0.0});
    chain_feed(&chain, 0, 24.0, 1.0, 0.0, 1.0);
    struct lw_point point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    assert_int_equal(point.source_mode[0], LW_SOURCE_LIMITED);
    near(volts(&point, 0), 12.0, 1e-12);
    lw_point_finish(&point);
}

// e = u + I R, I = 0.2 + (1 - 0.2) e / 24, u = 12 I: I (1 - 13 x 0.8 / 24) = 0.2.
static void a_source_that_folds_back_follows_its_line(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, (struct lw_load){LW_LOAD_RESISTOR, 12.0, 1.0, 6.0, 0.0});
    struct lw_source *source = chain_feed(&chain, 0, 24.0, 1.0, 0.0, 1.0);
    source->past_limit = LW_FOLD_BACK;
    source->fold_back_a = 0.2;
    struct lw_point point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    near(point.source_a[0], 0.2 / (1.0 - 13.0 * 0.8 / 24.0), 1e-12);
    lw_point_finish(&point);
}

static void a_source_that_shuts_down_goes_off_and_leaves_its_chain_dark(void **state)
{
    (void)state;
    static const enum lw_past_limit kinds[] = {LW_HICCUP, LW_LATCH_OFF};
    for (size_t k = 0; k < 2; k++) {
        struct chain chain;
        chain_begin(&chain, 4);
        chain_fill(&chain, 0.02, 0.02, power_load(12.0));
        chain_feed(&chain, 0, 24.0, 0.05, 0.0, 1.0)->past_limit = kinds[k];
        struct lw_point point = solve_all_on(&chain.ladder);
        assert_false(point.exists);
        assert_int_equal(point.source_mode[0], LW_SOURCE_OFF);
        near(point.load_factor, 0.5, 0.01);
        lw_point_finish(&point);
    }
}

static void the_lower_of_two_sources_blocks_until_it_is_needed(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_feed(&chain, 0, 24.1, 0.02, 0.0, 2.5);
    chain_feed(&chain, 0, 24.0, 0.02, 0.0, 2.5);
    chain_fill(&chain, 0.0, 0.0, (struct lw_load){LW_LOAD_CURRENT, 2.4, 10.0, 12.0, 0.0});
    struct lw_point point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    assert_int_equal(point.source_mode[1], LW_SOURCE_BLOCKING);
    near(volts(&point, 0), 24.1 - 0.048, 1e-12);
    lw_point_finish(&point);
    chain_fill(&chain, 0.0, 0.0, (struct lw_load){LW_LOAD_CURRENT, 2.6, 10.0, 12.0, 0.0});
    point = solve_all_on(&chain.ladder);
    assert_true(point.exists);
    assert_int_equal(point.source_mode[0], LW_SOURCE_LIMITED);
    near(point.source_a[0], 2.5, 1e-12);
    near(point.source_a[1], 0.1, 1e-9);
    near(volts(&point, 0), 24.0 - 0.002, 1e-12);
    lw_point_finish(&point);
}

static void a_source_that_sinks_takes_current_and_one_that_trips_goes_off(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 1);
    chain_fill(&chain, 0.0, 0.0, (struct lw_load){LW_LOAD_CURRENT, 0.1, 10.0, 12.0, 0.0});
    chain_feed(&chain, 0, 25.0, 0.1, 0.0, INFINITY);
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY)->reverse = LW_REVERSE_SINKS;
    struct lw_point point = solve_all_on(&chain.ladder);
    // (25 - u) / 0.1 + (24 - u) / 0.1 = 0.1
    near(volts(&point, 0), 24.495, 1e-12);
    near(point.source_a[1], -4.95, 1e-9);
    lw_point_finish(&point);
    chain.sources[1].reverse = LW_REVERSE_TRIPS;
    point = solve_all_on(&chain.ladder);
    assert_int_equal(point.source_mode[1], LW_SOURCE_OFF);
    near(volts(&point, 0), 24.99, 1e-12);
    lw_point_finish(&point);
}

// A bond at both ends puts the frame parallel to 0 V: 1 ohm of rail beside 0.25 + 0.75 ohm.
static void two_bonds_halve_the_rise_of_zero_volts(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain.taps[1] =
        (struct lw_tap){1.0, 1.0, false, false, {LW_LOAD_CURRENT, 1.0, 10.0, 12.0, 0.0}};
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY);
    chain_bond(&chain, 0, 0.25);
    struct lw_point point = solve_all_on(&chain.ladder);
    near(point.zero_v[1], 1.0, 1e-12);
    lw_point_finish(&point);
    chain_bond(&chain, 1, 0.75);
    point = solve_all_on(&chain.ladder);
    near(point.zero_v[1], 0.5, 1e-12);
    near(point.plus_v[1], 22.9, 1e-12);
    near(point.span_plus_a[1], 1.0, 1e-12);
    near(point.span_zero_a[1], 0.5, 1e-12);
    lw_point_finish(&point);
}

static void the_frame_carries_the_return_over_a_cut(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain.taps[1] = (struct lw_tap){1.0, 1.0, false, true, {LW_LOAD_CURRENT, 1.0, 10.0, 12.0, 0.0}};
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY);
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(&chain.ladder, &error), LW_BAD_FILE);
    chain_bond(&chain, 0, 0.25);
    chain_bond(&chain, 1, 0.75);
    struct lw_point point = solve_all_on(&chain.ladder);
    near(point.zero_v[1], 1.0, 1e-12);
    near(point.span_zero_a[1], 0.0, 0.0);
    lw_point_finish(&point);
}

static void a_section_cut_off_on_both_rails_has_its_own_reference(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 4);
    chain_fill(&chain, 0.1, 0.1, (struct lw_load){LW_LOAD_CURRENT, 0.5, 10.0, 12.0, 0.0});
    chain.taps[2].cut_plus = true;
    chain.taps[2].cut_zero = true;
    chain_feed(&chain, 0, 24.0, 0.1, 0.2, INFINITY);
    chain_feed(&chain, 3, 20.0, 0.1, 0.2, INFINITY);
    struct lw_point point = solve_all_on(&chain.ladder);
    near(point.zero_v[0], 0.2, 1e-12);
    near(point.zero_v[3], 0.2, 1e-12);
    near(point.zero_v[2], 0.25, 1e-12);
    near(point.plus_v[3], 19.9, 1e-12);
    near(point.span_plus_a[2], 0.0, 0.0);
    lw_point_finish(&point);
}

static void spans_without_resistance_join_their_taps(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 50);
    chain_fill(&chain, 0.0, 0.0, power_load(0.2));
    chain_feed(&chain, 20, 24.0, 0.7, 0.3, INFINITY);
    struct lw_point point = solve_all_on(&chain.ladder);
    for (size_t i = 0; i < 50; i++) {
        near(volts(&point, i), 12.0 + sqrt(134.0), 1e-11);
    }
    near(point.span_plus_a[21], 29.0 * 0.2 / (12.0 + sqrt(134.0)), 1e-11);
    lw_point_finish(&point);
}

static void a_stiff_supply_loses_no_digits(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 20);
    chain_fill(&chain, 0.2, 0.2, (struct lw_load){LW_LOAD_CURRENT, 0.01, 10.0, 12.0, 0.0});
    for (double ohm = 1e-9; ohm < 1.0; ohm *= 10.0) {
        chain.ladder.source_count = 0;
        chain_feed(&chain, 0, 24.0, ohm, 0.0, INFINITY);
        struct lw_point point = solve_all_on(&chain.ladder);
        assert_true(point.exists);
        // 0.4 ohm a span and 19, 18, ... 1 loads of 10 mA beyond it.
        near(volts(&point, 19), 24.0 - 0.2 * ohm - 0.4 * 0.01 * 190.0, 1e-11);
        lw_point_finish(&point);
    }
}

static double bond_current(const struct chain *chain, const struct lw_point *point, size_t tap,
                           double frame_v)
{
    double amperes = 0.0;
    for (size_t b = 0; b < chain->ladder.bond_count; b++) {
        if (chain->bonds[b].tap == tap) {
            amperes += (point->zero_v[tap] - frame_v) / chain->bonds[b].ohm;
        }
    }
    return amperes;
}

// The frame's voltage from its own current balance.
static double frame_voltage(const struct chain *chain, const struct lw_point *point)
{
    double sum_s = 0.0;
    double sum_a = 0.0;
    for (size_t b = 0; b < chain->ladder.bond_count; b++) {
        sum_s += 1.0 / chain->bonds[b].ohm;
        sum_a += point->zero_v[chain->bonds[b].tap] / chain->bonds[b].ohm;
    }
    return sum_s > 0.0 ? sum_a / sum_s : 0.0;
}

static double source_current_at(const struct chain *chain, const struct lw_point *point, size_t tap)
{
    double amperes = 0.0;
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        amperes += chain->sources[s].tap == tap ? point->source_a[s] : 0.0;
    }
    return amperes;
}

// Both laws at every tap and span, from what the point says and the ladder alone.
static void assert_kirchhoff(const struct chain *chain, const struct lw_point *point)
{
    size_t count = chain->ladder.tap_count;
    double frame_v = frame_voltage(chain, point);
    bool one_section = true;
    for (size_t i = 0; i < count; i++) {
        one_section = one_section && !chain->taps[i].cut_zero;
    }
    for (size_t i = 0; i < count; i++) {
        double plus_in = point->span_plus_a[i] - (i + 1 < count ? point->span_plus_a[i + 1] : 0.0);
        double device_a = point->load_a[i] - source_current_at(chain, point, i);
        near(plus_in, device_a, 1e-9);
        if (one_section) {
            double zero_out =
                point->span_zero_a[i] - (i + 1 < count ? point->span_zero_a[i + 1] : 0.0);
            near(zero_out, device_a - bond_current(chain, point, i, frame_v), 1e-9);
        }
        const struct lw_tap *tap = &chain->taps[i];
        if (i > 0 && !tap->cut_plus) {
            near(point->plus_v[i - 1] - point->plus_v[i],
                 tap->span_plus_ohm * point->span_plus_a[i], 1e-9);
        }
        if (i > 0 && !tap->cut_zero) {
            near(point->zero_v[i] - point->zero_v[i - 1],
                 tap->span_zero_ohm * point->span_zero_a[i], 1e-9);
        }
        if (point->load_state[i] == LW_LOAD_RUNNING && tap->load.kind == LW_LOAD_POWER) {
            near(point->load_a[i] * volts(point, i), tap->load.value, 1e-9);
        }
    }
}

static void kirchhoff_holds_on_random_chains(void **state)
{
    (void)state;
    uint64_t seed = 0x9E3779B97F4A7C15ULL;
    int solved = 0;
    for (int trial = 0; trial < 1000; trial++) {
        struct chain chain;
        chain_draw(&chain, 1 + draw_below(&seed, MOST_TAPS), &seed);
        struct lw_point point = solve_all_on(&chain.ladder);
        if (point.exists) {
            solved++;
            assert_kirchhoff(&chain, &point);
        }
        lw_point_finish(&point);
    }
    assert_true(solved > 500);
}

// Sources from 20 to 28 V on one starved stretch, limits and all.
static void draw_unequal(struct chain *chain, uint64_t *seed)
{
    do {
        chain_draw(chain, 1 + draw_below(seed, 12), seed);
    } while (chain->ladder.source_count < 2);
    double heavier = exp(draw_in(seed, 0.0, 5.0));
    for (size_t i = 0; i < chain->ladder.tap_count; i++) {
        struct lw_tap *tap = &chain->taps[i];
        tap->cut_plus = tap->cut_zero = false;
        tap->span_plus_ohm *= 5.0;
        tap->span_zero_ohm *= 5.0;
        tap->load.value *= tap->load.kind == LW_LOAD_RESISTOR ? 1.0 / heavier : heavier;
    }
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        chain->sources[s].volts = draw_in(seed, 20.0, 28.0);
    }
}

// With the sources of `mask` taken away and the others free to sink: whether that stands, nobody
// sinks, and nobody taken away would feed.
static bool subset_stands(const struct chain *chain, unsigned mask)
{
    struct chain free_one = *chain;
    struct lw_point point;
    struct lw_error error = {0};
    free_one.ladder.taps = free_one.taps;
    free_one.ladder.sources = free_one.sources;
    free_one.ladder.bonds = free_one.bonds;
    assert_int_equal(lw_point_init(&free_one.ladder, &point, &error), LW_OK);
    all_run(&free_one.ladder, &point);
    for (size_t s = 0; s < free_one.ladder.source_count; s++) {
        free_one.sources[s].reverse = LW_REVERSE_SINKS;
        point.source_mode[s] = mask >> s & 1U ? LW_SOURCE_OFF : LW_SOURCE_VOLTAGE;
    }
    assert_int_equal(lw_ladder_solve(&free_one.ladder, &point, &error), LW_OK);
    bool stands = point.exists;
    for (size_t s = 0; s < free_one.ladder.source_count; s++) {
        bool away = mask >> s & 1U;
        double over_v = volts(&point, free_one.sources[s].tap) - free_one.sources[s].volts;
        stands = stands && (away ? over_v > -1e-9 : point.source_a[s] > -1e-9);
    }
    lw_point_finish(&point);
    return stands;
}

static void blocking_sources_find_the_state_that_trying_all_finds(void **state)
{
    (void)state;
    uint64_t seed = 99;
    int standing = 0;
    for (int trial = 0; trial < 15000; trial++) {
        struct chain chain;
        draw_unequal(&chain, &seed);
        struct lw_point point = solve_all_on(&chain.ladder);
        bool any = false;
        for (unsigned mask = 0; mask + 1 < 1U << chain.ladder.source_count; mask++) {
            any = any || subset_stands(&chain, mask);
        }
        assert_int_equal(point.exists, any);
        standing += point.exists;
        lw_point_finish(&point);
    }
    assert_true(standing > 5000 && standing < 14500);
}

static void a_chain_read_from_its_other_end_gives_the_same_voltages(void **state)
{
    (void)state;
    uint64_t seed = 77;
    for (int trial = 0; trial < 100; trial++) {
        struct chain chain;
        size_t count = 2 + draw_below(&seed, 60);
        chain_draw(&chain, count, &seed);
        struct chain back = chain;
        back.ladder.taps = back.taps;
        back.ladder.sources = back.sources;
        back.ladder.bonds = back.bonds;
        for (size_t i = 0; i < count; i++) {
            size_t from = count - 1 - i;
            back.taps[i] = chain.taps[(from + 1) % count];
            back.taps[i].load = chain.taps[from].load;
        }
        for (size_t s = 0; s < chain.ladder.source_count; s++) {
            back.sources[s].tap = count - 1 - chain.sources[s].tap;
        }
        for (size_t b = 0; b < chain.ladder.bond_count; b++) {
            back.bonds[b].tap = count - 1 - chain.bonds[b].tap;
        }
        struct lw_point one = solve_all_on(&chain.ladder);
        struct lw_point other = solve_all_on(&back.ladder);
        assert_int_equal(one.exists, other.exists);
        for (size_t i = 0; one.exists && i < count; i++) {
            near(volts(&one, i), volts(&other, count - 1 - i), 1e-9);
        }
        lw_point_finish(&one);
        lw_point_finish(&other);
    }
}

// Without a frame. (Where the frame joins stretches whose V+ is cut, one's load can lift the
// other.)
static void more_load_never_raises_a_voltage(void **state)
{
    (void)state;
    uint64_t seed = 4711;
    for (int trial = 0; trial < 200; trial++) {
        struct chain chain;
        chain_draw(&chain, 2 + draw_below(&seed, 100), &seed);
        chain.ladder.bond_count = 0;
        struct lw_point light = solve_all_on(&chain.ladder);
        size_t tap = draw_below(&seed, chain.ladder.tap_count);
        chain.taps[tap].load = power_load(2.0);
        struct lw_point heavy = solve_all_on(&chain.ladder);
        for (size_t i = 0; light.exists && heavy.exists && i < chain.ladder.tap_count; i++) {
            assert_true(i == tap || volts(&heavy, i) <= volts(&light, i) + 1e-9 ||
                        volts(&light, tap) * light.load_a[tap] > 2.0);
        }
        lw_point_finish(&light);
        lw_point_finish(&heavy);
    }
}

static void two_sources_without_a_cut_between_are_named(void **state)
{
    (void)state;
    struct chain chain;
    size_t one = 9;
    size_t other = 9;
    chain_begin(&chain, 6);
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, 1.0);
    chain_feed(&chain, 5, 24.0, 0.1, 0.0, 1.0);
    chain_feed(&chain, 3, 24.0, 0.1, 0.0, 1.0);
    chain.taps[2].cut_plus = true;
    assert_true(lw_ladder_paralleled(&chain.ladder, &one, &other));
    assert_int_equal(one, 1);
    assert_int_equal(other, 2);
    chain.taps[4].cut_plus = true;
    assert_false(lw_ladder_paralleled(&chain.ladder, &one, &other));
}

static void assert_refused(const struct chain *chain, const char *says)
{
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(&chain->ladder, &error), LW_BAD_FILE);
    assert_string_equal(error.says, says);
}

static void nonsense_is_refused_in_one_line(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 0);
    assert_refused(&chain, "the chain has no tap");
    chain_begin(&chain, 3);
    assert_refused(&chain, "the chain has no supply");
    chain_feed(&chain, 3, 24.0, 0.1, 0.0, 1.0);
    assert_refused(&chain, "supply 1: feeds tap 4 of 3");
    chain.sources[0].tap = 0;
    chain.sources[0].plus_ohm = 0.0;
    assert_refused(&chain, "supply 1: output and lead together need a resistance above 0");
    chain.sources[0].plus_ohm = 0.1;
    chain.taps[1].cut_plus = true;
    assert_refused(&chain, "tap 2: no path to a supply on both rails");
    chain.taps[1].cut_plus = false;
    chain.taps[2].span_zero_ohm = -1.0;
    assert_refused(&chain, "tap 3: the span's resistance must be 0 ohm or more");
    chain.taps[2].span_zero_ohm = 0.0;
    chain.taps[1].load = (struct lw_load){LW_LOAD_POWER, 1.0, 18.0, 16.0, 0.0};
    assert_refused(&chain, "tap 2: start voltage 16 V is below the drop-out voltage 18 V");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_node_takes_the_upper_root_of_its_quadratic),
        cmocka_unit_test(one_node_past_its_largest_power_has_no_operating_point),
        cmocka_unit_test(constant_currents_drop_volts_span_by_span),
        cmocka_unit_test(a_limited_source_gives_its_limit),
        cmocka_unit_test(a_source_that_folds_back_follows_its_line),
        cmocka_unit_test(a_source_that_shuts_down_goes_off_and_leaves_its_chain_dark),
        cmocka_unit_test(the_lower_of_two_sources_blocks_until_it_is_needed),
        cmocka_unit_test(a_source_that_sinks_takes_current_and_one_that_trips_goes_off),
        cmocka_unit_test(two_bonds_halve_the_rise_of_zero_volts),
        cmocka_unit_test(the_frame_carries_the_return_over_a_cut),
        cmocka_unit_test(a_section_cut_off_on_both_rails_has_its_own_reference),
        cmocka_unit_test(spans_without_resistance_join_their_taps),
        cmocka_unit_test(a_stiff_supply_loses_no_digits),
        cmocka_unit_test(kirchhoff_holds_on_random_chains),
        cmocka_unit_test(blocking_sources_find_the_state_that_trying_all_finds),
        cmocka_unit_test(a_chain_read_from_its_other_end_gives_the_same_voltages),
        cmocka_unit_test(more_load_never_raises_a_voltage),
        cmocka_unit_test(two_sources_without_a_cut_between_are_named),
        cmocka_unit_test(nonsense_is_refused_in_one_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
