// SPDX-License-Identifier: GPL-3.0-or-later
//
// Two visits to one virtual machine: what was done to it in between is found, and nothing else.
#include "check/compare.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

struct visit {
    struct walk walk;
    struct lw_roster_result roster;
    struct lw_supply_result supply;
    struct lw_noise_result noise;
    struct lw_link_result link;
    struct lw_compare_side side;
};

// Another time is another noise: `wait_s` goes by before.
static void make_visit(struct visit *visit, const char *faults, uint64_t seed, double wait_s)
{
    walk_open_cell(&visit->walk, &(struct cell){.probes = 8, .faults = faults}, seed);
    walk_link(&visit->walk, &(struct lw_link_options){.seconds = wait_s}, NULL);
    walk_roster(&visit->walk, &visit->roster);
    walk_supply(&visit->walk, &visit->supply);
    walk_noise(&visit->walk, NULL, &visit->noise);
    walk_link(&visit->walk, &(struct lw_link_options){.seconds = 20}, &visit->link);
    visit->side = (struct lw_compare_side){.opened = "2026-03-01T08:00:00Z",
                                           .roster = &visit->roster,
                                           .supply = &visit->supply,
                                           .noise = &visit->noise,
                                           .link = &visit->link};
}

static void end_visit(struct visit *visit)
{
    lw_json_free(&lw_roster_shape, &visit->roster);
    lw_json_free(&lw_supply_shape, &visit->supply);
    lw_json_free(&lw_noise_shape, &visit->noise);
    lw_json_free(&lw_link_shape, &visit->link);
    walk_close(&visit->walk);
}

struct compared {
    struct visit before, now;
    struct lw_compare_result result;
    struct lw_rule rule;
};

// The voltmeters' constant errors follow from the seed: the same nodes on both visits.
static void begin(struct compared *compared, const char *faults, uint64_t seed)
{
    *compared = (struct compared){0};
    make_visit(&compared->before, NULL, seed, 1);
    make_visit(&compared->now, faults, seed, 7);
    lw_json_init(&lw_compare_shape, &compared->result);
}

static void judge(struct compared *compared)
{
    walk_forget(&compared->now.walk);
    assert_int_equal(lw_compare(&compared->now.walk.plan, &compared->before.side,
                                &compared->now.side, &compared->result, &compared->rule, NULL),
                     LW_OK);
    lw_compare_findings(&compared->result, &compared->now.walk.findings);
    walk_comes_back(&lw_compare_shape, &compared->result);
}

static void end(struct compared *compared)
{
    lw_json_free(&lw_compare_shape, &compared->result);
    end_visit(&compared->before);
    end_visit(&compared->now);
}

static void a_machine_that_was_left_alone_has_not_moved(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct compared compared;
        begin(&compared, NULL, seed);
        judge(&compared);
        assert_int_equal(compared.result.rows.count, 24);
        const struct lw_compare_row *rows = compared.result.rows.items;
        assert_int_equal(rows[8].what, LW_COMPARE_NOISE);
        assert_true(rows[8].change != 0); // these are other readings
        assert_int_equal(walk_count(&compared.now.walk, NULL), 0);
        end(&compared);
    }
}

// 0.3 ohm at span 4 take more than the voltmeters' step from every node behind it.
static void a_joint_gone_bad_is_found_between_its_neighbours(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct compared compared;
        begin(&compared, "{\"kind\": \"weak_span\", \"span\": 4, \"extra_ohm\": 3}", seed);
        judge(&compared);
        const struct lw_finding *finding =
            walk_found(&compared.now.walk, "compare_supply_lower", NULL);
        assert_non_null(finding);
        assert_string_equal(finding->node, "P04");
        assert_int_equal(walk_count(&compared.now.walk, NULL), 1);
        end(&compared);
    }
}

static void a_magnet_is_found_at_its_node(void **state)
{
    (void)state;
    struct compared compared;
    begin(&compared,
          "{\"kind\": \"magnet_near\", \"tap\": 3, \"field\": 0.004, \"reach_taps\": 0.3}", 5);
    judge(&compared);
    assert_non_null(walk_found(&compared.now.walk, "compare_noise_grown", "P03"));
    assert_int_equal(walk_count(&compared.now.walk, "compare_noise_grown"), 1);
    end(&compared);
}

static void a_node_that_fell_silent_has_more_errors(void **state)
{
    (void)state;
    struct compared compared;
    begin(&compared, "{\"kind\": \"dead_node\", \"tap\": 6}", 5);
    judge(&compared);
    assert_non_null(walk_found(&compared.now.walk, "compare_errors_grown", "P06"));
    assert_int_equal(walk_count(&compared.now.walk, "compare_errors_grown"), 1);
    end(&compared);
}

// Another voltmeter stands there: its constant error no longer cancels.
static void an_exchanged_node_is_said_and_its_volts_are_less_certain(void **state)
{
    (void)state;
    struct compared compared;
    begin(&compared, NULL, 5);
    struct lw_roster_node *nodes = compared.before.roster.nodes.items;
    assert_non_null(nodes[1].serial);
    nodes[1].serial[0] ^= 1;
    judge(&compared);
    const struct lw_compare_row *rows = compared.result.rows.items;
    assert_true(rows[1].other_serial && !rows[0].other_serial);
    assert_true(rows[1].change_high - rows[1].change_low >
                3 * (rows[0].change_high - rows[0].change_low));
    assert_non_null(walk_found(&compared.now.walk, "compare_exchanged", NULL));
    end(&compared);
}

static void what_one_visit_does_not_have_is_not_compared(void **state)
{
    (void)state;
    struct compared compared;
    begin(&compared, NULL, 5);
    compared.before.side.supply = NULL;
    compared.before.side.link = NULL;
    compared.before.noise.state = lw_duplicate("drives on");
    judge(&compared);
    assert_int_equal(compared.result.rows.count, 0);
    assert_int_equal(compared.result.not_compared.count, 3);
    assert_int_equal(walk_found(&compared.now.walk, "compare_nothing", NULL)->severity,
                     LW_NOT_TESTED);
    end(&compared);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_machine_that_was_left_alone_has_not_moved),
        cmocka_unit_test(a_joint_gone_bad_is_found_between_its_neighbours),
        cmocka_unit_test(a_magnet_is_found_at_its_node),
        cmocka_unit_test(a_node_that_fell_silent_has_more_errors),
        cmocka_unit_test(an_exchanged_node_is_said_and_its_volts_are_less_certain),
        cmocka_unit_test(what_one_visit_does_not_have_is_not_compared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
