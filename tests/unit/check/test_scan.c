// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a scan finds on virtual chains, what it takes for it, and what it says.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

static const struct lw_scan_node *at(const struct lw_scan_result *result, int address)
{
    const struct lw_scan_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].address == address) {
            return &nodes[i];
        }
    }
    return NULL;
}

static void finds_those_who_are_there_and_nobody_else(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 5, .loops = 2, .airs = 1}, 3);
    walk_scan(&walk, &result);
    assert_int_equal(result.nodes.count, 8);
    assert_int_equal(result.asked, 247);
    for (int address = 1; address <= 8; address++) {
        const struct lw_scan_node *node = at(&result, address);
        assert_non_null(node);
        assert_non_null(node->identity);
        assert_string_equal(node->identity->vendor, "Example Metrology");
    }
    assert_true(result.simulated);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

static void a_dead_node_is_missing(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(
        &walk, &(struct cell){.probes = 4, .faults = "{\"kind\": \"dead_node\", \"tap\": 2}"}, 3);
    walk_scan(&walk, NULL);
    assert_non_null(walk_found(&walk, "scan_missing", "P02"));
    assert_int_equal(walk_count(&walk, NULL), 1);
    walk_close(&walk);
}

static void a_silent_tail_is_one_finding(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 6,
                                  .faults = "{\"kind\": \"dead_node\", \"tap\": 2},"
                                            "{\"kind\": \"dead_node\", \"tap\": 4},"
                                            "{\"kind\": \"dead_node\", \"tap\": 5},"
                                            "{\"kind\": \"dead_node\", \"tap\": 6}"},
                   3);
    walk_scan(&walk, NULL);
    assert_non_null(walk_found(&walk, "scan_missing", "P02"));
    assert_non_null(walk_found(&walk, "line_silent_from", "P04"));
    assert_int_equal(walk_count(&walk, NULL), 2);
    walk_close(&walk);
}

static void a_dead_line_is_said_once(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 2,
                                  .faults = "{\"kind\": \"dead_node\", \"tap\": 1},"
                                            "{\"kind\": \"dead_node\", \"tap\": 2}"},
                   3);
    walk_scan(&walk, NULL);
    assert_non_null(walk_found(&walk, "scan_none", NULL));
    assert_int_equal(walk_count(&walk, NULL), 1);
    walk_close(&walk);
}

static void a_node_that_nobody_planned_is_named_by_its_address(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 3, .unplanned = 1}, 3);
    walk_scan(&walk, NULL);
    const struct lw_finding *finding = walk_found(&walk, "scan_unplanned", NULL);
    assert_non_null(finding);
    assert_int_equal(finding->address, 4);
    assert_int_equal(walk_count(&walk, NULL), 1);
    walk_close(&walk);
}

static void two_like_nodes_that_answer_in_step_are_told_apart(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        struct lw_scan_result result;
        walk_open_cell(
            &walk,
            &(struct cell){.probes = 4,
                           .faults = "{\"kind\": \"double_address\", \"tap\": 4, \"address\": 2}"},
            seed);
        walk_scan(&walk, &result);
        assert_non_null(at(&result, 2));
        assert_true(at(&result, 2)->doubled);
        assert_int_equal(result.nodes.count, 3);
        assert_int_equal(walk_count(&walk, "scan_doubled"), 1);
        assert_non_null(walk_found(&walk, "scan_missing", "P04"));
        lw_json_free(&lw_scan_shape, &result);
        walk_close(&walk);
    }
}

static void bit_errors_make_no_doubled_nodes(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(
            &walk,
            &(struct cell){
                .probes = 4,
                .faults = "{\"kind\": \"noisy_span\", \"span\": 2, \"bit_error_rate\": 0.0005}"},
            seed);
        walk_scan(&walk, NULL);
        assert_int_equal(walk_count(&walk, "scan_doubled"), 0);
        assert_int_equal(walk_count(&walk, "scan_unplanned"), 0);
        walk_close(&walk);
    }
}

static void a_slow_node_is_found_late(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 3,
                                  .faults = "{\"kind\": \"late_replies\", \"tap\": 2, "
                                            "\"late_ms\": 300, \"share\": 1}"},
                   3);
    walk_scan(&walk, &result);
    assert_int_equal(result.nodes.count, 3);
    assert_true(at(&result, 2)->late);
    const struct lw_finding *finding = walk_found(&walk, "scan_late", "P02");
    assert_non_null(finding);
    assert_true(finding->value > 300 && finding->value < 320);
    assert_int_equal(walk_count(&walk, NULL), 1);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

// A reply that comes while the next address is being asked belongs to the late one.
static void a_late_reply_is_not_taken_for_the_next_node(void **state)
{
    (void)state;
    for (int late_ms = 8; late_ms <= 80; late_ms += 4) {
        struct walk walk;
        struct lw_scan_result result;
        char fault[120];
        lw_print(fault, sizeof fault,
                 "{\"kind\": \"late_replies\", \"tap\": 3, \"late_ms\": %d, \"share\": 1}",
                 late_ms);
        walk_open_cell(&walk, &(struct cell){.probes = 3, .faults = fault}, 3);
        walk_scan(&walk, &result);
        assert_int_equal(result.nodes.count, 3);
        assert_true(at(&result, 3)->late);
        assert_false(at(&result, 1)->late || at(&result, 2)->late);
        lw_json_free(&lw_scan_shape, &result);
        walk_close(&walk);
    }
}

static void another_master_stops_the_scan(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 3,
                                  .faults = "{\"kind\": \"foreign_controller\", \"cycle_ms\": 200, "
                                            "\"addresses\": [1, 2], \"from_s\": 0.5}"},
                   3);
    walk_scan(&walk, &result);
    assert_true(result.foreign);
    assert_true(result.asked < 247);
    assert_non_null(walk_found(&walk, "line_foreign", NULL));
    assert_int_equal(walk_count(&walk, "scan_missing"), 0);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

static void an_unknown_framing_is_found_among_candidates(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    struct lw_framing candidates[3];
    const char *const texts[] = {"9600/8E1", "19200/8N1", "38400/8E1"};
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(lw_framing_parse(texts[i], &candidates[i], NULL), LW_OK);
    }
    walk_open_cell(&walk, &(struct cell){.probes = 3, .framing = "38400/8E1"}, 3);
    walk.scan_options = (struct lw_scan_options){.framings = candidates, .framing_count = 3};
    for (int address = 1; address <= 3; address++) {
        walk.scan_options.selected[address] = true;
    }
    walk_scan(&walk, &result);
    assert_string_equal(result.framing, "38400/8E1");
    assert_int_equal(result.nodes.count, 3);
    assert_int_equal(result.asked, 3);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

static void only_the_chosen_addresses_are_asked(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 4}, 3);
    walk.scan_options.selected[2] = walk.scan_options.selected[9] = true;
    walk_scan(&walk, &result);
    assert_int_equal(result.asked, 2);
    assert_int_equal(result.nodes.count, 1);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_those_who_are_there_and_nobody_else),
        cmocka_unit_test(a_dead_node_is_missing),
        cmocka_unit_test(a_silent_tail_is_one_finding),
        cmocka_unit_test(a_dead_line_is_said_once),
        cmocka_unit_test(a_node_that_nobody_planned_is_named_by_its_address),
        cmocka_unit_test(two_like_nodes_that_answer_in_step_are_told_apart),
        cmocka_unit_test(bit_errors_make_no_doubled_nodes),
        cmocka_unit_test(a_slow_node_is_found_late),
        cmocka_unit_test(a_late_reply_is_not_taken_for_the_next_node),
        cmocka_unit_test(another_master_stops_the_scan),
        cmocka_unit_test(an_unknown_framing_is_found_among_candidates),
        cmocka_unit_test(only_the_chosen_addresses_are_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
