// SPDX-License-Identifier: GPL-3.0-or-later
//
// The cheapest change, against trying everything in another way.
#include "power/advise.h"

#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { WIRINGS = 3 };

// A starved chain with three wirings on offer: as it is, and with two thicker conductors.
struct offer {
    struct chain chain;
    double ohm[WIRINGS][MOST_TAPS];
    double minimum_v[MOST_TAPS];
    struct lw_wiring wirings[WIRINGS];
    struct lw_wish wish;
};

static void draw_offer(struct offer *offer, uint64_t *seed)
{
    size_t taps = 10 + draw_below(seed, 30);
    chain_begin(&offer->chain, taps);
    chain_fill(&offer->chain, 0.06, 0.06, power_load(draw_in(seed, 0.9, 2.0)));
    chain_feed(&offer->chain, draw_below(seed, 4), 24.0, 0.1, 0.06, draw_in(seed, 2.5, 5.0));
    for (size_t w = 0; w < WIRINGS; w++) {
        for (size_t i = 0; i < taps; i++) {
            offer->ohm[w][i] = 0.06 / (double)(1 + w);
        }
        offer->wirings[w] = (struct lw_wiring){offer->ohm[w], offer->ohm[w],
                                               w == 0 ? 0.0 : draw_in(seed, 20.0, 200.0)};
    }
    for (size_t i = 0; i < taps; i++) {
        offer->minimum_v[i] = draw_in(seed, 20.0, 23.0);
    }
    offer->wish = (struct lw_wish){.minimum_v = offer->minimum_v,
                                   .supply_load = 0.8,
                                   .wirings = offer->wirings,
                                   .wiring_count = WIRINGS,
                                   .supply = {.volts = 24.0, .plus_ohm = 0.1, .limit_a = 2.5},
                                   .supply_cost = draw_in(seed, 50.0, 150.0),
                                   .most_supplies = 2};
}

// Whether a chain changed by hand meets the wish; built from the plan each time.
static bool suffices(const struct offer *offer, size_t wiring, size_t one, size_t other)
{
    struct chain changed = offer->chain;
    changed.ladder.taps = changed.taps;
    changed.ladder.sources = changed.sources;
    for (size_t i = 0; i < changed.ladder.tap_count; i++) {
        changed.taps[i].span_plus_ohm = offer->ohm[wiring][i];
        changed.taps[i].span_zero_ohm = offer->ohm[wiring][i];
    }
    const size_t added[] = {one, other};
    for (size_t k = 0; k < 2; k++) {
        if (added[k] > 0) {
            chain_feed(&changed, added[k], 24.0, 0.1, 0.0, 2.5);
            changed.taps[added[k]].cut_plus = true;
        }
    }
    struct lw_point point;
    struct lw_error error = {0};
    assert_int_equal(lw_point_init(&changed.ladder, &point, &error), LW_OK);
    all_run(&changed.ladder, &point);
    assert_int_equal(lw_ladder_solve(&changed.ladder, &point, &error), LW_OK);
    bool fine = point.exists;
    for (size_t i = 0; i < changed.ladder.tap_count; i++) {
        fine = fine && point.plus_v[i] - point.zero_v[i] >= offer->minimum_v[i];
    }
    for (size_t s = 0; s < changed.ladder.source_count; s++) {
        fine = fine && point.source_a[s] <= 0.8 * changed.sources[s].limit_a;
    }
    lw_point_finish(&point);
    return fine;
}

// Cost of the cheapest by brute force over wirings and pairs of taps (0: none); INFINITY: nothing.
static double brute_force(const struct offer *offer)
{
    double cheapest = INFINITY;
    size_t taps = offer->chain.ladder.tap_count;
    for (size_t w = 0; w < WIRINGS; w++) {
        for (size_t one = 0; one < taps; one++) {
            for (size_t other = one == 0 ? 0 : one; other < taps; other++) {
                if ((one == 0 && other > 0) || (one > 0 && one <= offer->chain.sources[0].tap)) {
                    continue;
                }
                size_t second = other == one ? 0 : other;
                double cost = offer->wirings[w].cost +
                              offer->wish.supply_cost * (double)((one > 0) + (second > 0));
                if (cost < cheapest && suffices(offer, w, one, second)) {
                    cheapest = cost;
                }
            }
        }
    }
    return cheapest;
}

static void brute_force_finds_nothing_cheaper_on_ten_starved_chains(void **state)
{
    (void)state;
    uint64_t seed = 17;
    int starved = 0;
    int kinds[3] = {0};
    while (starved < 10) {
        struct offer offer;
        struct lw_advice advice;
        struct lw_error error = {0};
        draw_offer(&offer, &seed);
        assert_int_equal(lw_ladder_advise(&offer.chain.ladder, &offer.wish, &advice, &error),
                         LW_OK);
        if (advice.found && advice.cost == 0.0) {
            continue; // was not starved
        }
        starved++;
        double cheapest = brute_force(&offer);
        assert_int_equal(advice.found, isfinite(cheapest));
        if (advice.found) {
            assert_true(fabs(advice.cost - cheapest) < 1e-9);
            kinds[advice.supply_count]++;
            assert_true(suffices(&offer, advice.wiring,
                                 advice.supply_count > 0 ? advice.supply_tap[0] : 0,
                                 advice.supply_count > 1 ? advice.supply_tap[1] : 0));
        }
    }
    print_message("advice: %d times no supply, %d times one, %d times two more\n", kinds[0],
                  kinds[1], kinds[2]);
}

static void a_chain_that_has_its_margin_is_left_alone(void **state)
{
    (void)state;
    uint64_t seed = 5;
    struct offer offer;
    struct lw_advice advice;
    struct lw_error error = {0};
    draw_offer(&offer, &seed);
    for (size_t i = 0; i < offer.chain.ladder.tap_count; i++) {
        offer.minimum_v[i] = 1.0;
        offer.chain.taps[i].load.value = 0.1;
    }
    assert_int_equal(lw_ladder_advise(&offer.chain.ladder, &offer.wish, &advice, &error), LW_OK);
    assert_true(advice.found && advice.cost == 0.0 && advice.supply_count == 0);
}

static void what_cannot_be_had_is_said(void **state)
{
    (void)state;
    uint64_t seed = 6;
    struct offer offer;
    struct lw_advice advice;
    struct lw_error error = {0};
    draw_offer(&offer, &seed);
    offer.minimum_v[3] = 30.0;
    assert_int_equal(lw_ladder_advise(&offer.chain.ladder, &offer.wish, &advice, &error), LW_OK);
    assert_false(advice.found);
    assert_true(advice.margin_v < 0.0);
    offer.wish.wiring_count = 0;
    assert_int_equal(lw_ladder_advise(&offer.chain.ladder, &offer.wish, &advice, &error), LW_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(brute_force_finds_nothing_cheaper_on_ten_starved_chains),
        cmocka_unit_test(a_chain_that_has_its_margin_is_left_alone),
        cmocka_unit_test(what_cannot_be_had_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
