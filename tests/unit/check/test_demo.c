// SPDX-License-Identifier: GPL-3.0-or-later
//
// The demo scenarios from end to end: the healthy machine raises nothing, the faulty one names what
// is wrong with it, whatever the seed.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

static void walk_all(struct walk *walk, const char *plan, uint64_t seed)
{
    walk_open(walk, plan, NULL, seed);
    walk_scan(walk, NULL);
    walk_roster(walk, NULL);
    walk_link(walk, NULL, NULL);
    walk_supply(walk, NULL);
    walk_noise(walk, NULL, NULL);
}

static void the_healthy_machine_raises_nothing(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_all(&walk, HEALTHY, seed);
        if (walk_count(&walk, NULL) > 0) {
            walk_show(&walk);
            fail_msg("seed %d raises findings", (int)seed);
        }
        walk_close(&walk);
    }
}

static void names(const struct lw_finding *finding, const char *node)
{
    assert_non_null(finding);
    if (!strstr(finding->says, node)) {
        fail_msg("'%s' does not name %s", finding->says, node);
    }
}

// The chain itself says what is true: the last station does not run, the node beside the magnet is
// P09, the bad joint lies before P06.
static void the_faulty_machine_names_its_faults(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_all(&walk, FAULTY, seed);
        for (size_t tap = 1; tap <= 24; tap++) {
            const char *node = lw_plan_tap(&walk.plan, tap)->node;
            bool starves = tap >= 19;
            assert_int_equal(lw_chain_true_running(walk.chain, tap), !starves);
            assert_int_equal(walk_found(&walk, "noise_over_limit", node) != NULL, tap == 9);
            if (starves) {
                names(walk_found(&walk, "supply_starved", NULL), node);
            }
        }
        names(walk_found(&walk, "line_silent_from", "P19"), "up to P24");
        assert_int_equal(walk_count(&walk, "link_silent"), 0);
        const struct lw_finding *weak = walk_found(&walk, "supply_weak_span", NULL);
        assert_non_null(weak);
        assert_in_range(weak->span, 5, 7);
        // 0.6 ohm beside the planned 0.105 ohm: 6.7 times
        assert_true(weak->value > 5 && weak->value < 8.5);
        walk_close(&walk);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_healthy_machine_raises_nothing),
        cmocka_unit_test(the_faulty_machine_names_its_faults),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
