// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who each node is against the plan. The chain is built from one plan and the roster told another,
// so that what differs is known.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

static struct lw_chain_entry *planned(struct walk *walk, size_t tap)
{
    return (struct lw_chain_entry *)walk->plan.chain.items + (tap - 1);
}

// The profile as the roster is told it; the chain's own is another copy.
static struct lw_profile *profile(struct walk *walk, const char *name)
{
    struct lw_profile *profiles = walk->plan.profiles.items;
    for (size_t i = 0; i < walk->plan.profiles.count; i++) {
        if (strcmp(profiles[i].name, name) == 0) {
            return &profiles[i];
        }
    }
    fail_msg("no profile %s", name);
    return NULL;
}

static void replace(char **text, const char *with)
{
    free(*text);
    *text = lw_duplicate(with);
}

static const struct lw_roster_node *at(const struct lw_roster_result *result, size_t tap)
{
    return (const struct lw_roster_node *)result->nodes.items + (tap - 1);
}

// Exactly one finding, of this code and node.
static void only(const struct walk *walk, const char *code, const char *node)
{
    if (!walk_found(walk, code, node) || walk_count(walk, NULL) != 1) {
        walk_show(walk);
        fail_msg("expected one finding: %s of %s", code, node);
    }
}

static void tells_who_everyone_is(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 2, .loops = 1, .airs = 1, .encoders = 1}, 5);
    walk_roster(&walk, &result);
    assert_int_equal(result.planned, 5);
    assert_int_equal(result.present, 5);
    assert_string_equal(at(&result, 1)->serial, "100001");
    assert_string_equal(at(&result, 3)->serial, "100003");
    assert_string_equal(at(&result, 3)->product_code, "EX-L1");
    assert_non_null(at(&result, 1)->calibrated_on);
    assert_non_null(at(&result, 3)->calibration_due);
    assert_true(at(&result, 5)->supply_v > 23);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void one_fault(const char *fault, const char *code, const char *node)
{
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 4, .faults = fault}, 5);
    walk_roster(&walk, NULL);
    only(&walk, code, node);
    walk_close(&walk);
}

static void a_dead_node_is_missing(void **state)
{
    (void)state;
    one_fault("{\"kind\": \"dead_node\", \"tap\": 3}", "roster_missing", "P03");
}

static void a_node_at_another_framing_is_found_there(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 3,
                                  .faults = "{\"kind\": \"wrong_framing\", \"tap\": 2, "
                                            "\"framing\": \"9600/8E1\"}"},
                   5);
    walk_roster(&walk, &result);
    only(&walk, "roster_wrong_framing", "P02");
    assert_string_equal(at(&result, 2)->framing, "9600/8E1");
    assert_int_equal(walk.line->framing.rate, 19200);
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void nodes_in_each_others_place_are_swapped(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(
        &walk,
        &(struct cell){.probes = 4, .faults = "{\"kind\": \"swapped_places\", \"taps\": [2, 3]}"},
        5);
    walk_roster(&walk, NULL);
    assert_non_null(walk_found(&walk, "roster_swapped", "P02"));
    assert_non_null(walk_found(&walk, "roster_swapped", "P03"));
    assert_int_equal(walk_count(&walk, NULL), 2);
    walk_close(&walk);
}

static void two_like_nodes_in_step_are_doubled(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(
            &walk,
            &(struct cell){.probes = 3,
                           .faults = "{\"kind\": \"double_address\", \"tap\": 3, \"address\": 1}"},
            seed);
        walk_roster(&walk, NULL);
        assert_non_null(walk_found(&walk, "roster_doubled", "P01"));
        assert_non_null(walk_found(&walk, "roster_missing", "P03"));
        assert_int_equal(walk_count(&walk, NULL), 2);
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
                .faults = "{\"kind\": \"noisy_span\", \"span\": 2, \"bit_error_rate\": 0.0003}"},
            seed);
        walk_roster(&walk, NULL);
        assert_int_equal(walk_count(&walk, "roster_doubled"), 0);
        walk_close(&walk);
    }
}

static void another_kind_of_device_is_named(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 2, .loops = 1}, 5);
    replace(&profile(&walk, "example-loop")->identity.product_code, "EX-L2");
    walk_roster(&walk, NULL);
    only(&walk, "roster_wrong_kind", "P03");
    walk_close(&walk);
}

static void another_serial_is_another_node(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 5);
    replace(&planned(&walk, 2)->serial, "777777");
    walk_roster(&walk, NULL);
    only(&walk, "roster_serial_differs", "P02");
    walk_close(&walk);
}

static void a_plan_without_a_serial_leaves_it_unproved(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 5);
    replace(&planned(&walk, 1)->serial, NULL);
    walk_roster(&walk, NULL);
    only(&walk, "roster_serial_unproved", "P01");
    walk_close(&walk);
}

static void another_sensor_is_named(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 5);
    replace(&planned(&walk, 2)->sensor_serial, "S-9");
    walk_roster(&walk, NULL);
    only(&walk, "roster_sensor_differs", "P02");
    walk_close(&walk);
}

static void firmware_is_compared_number_by_number(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 1, .loops = 1}, 5);
    replace(&profile(&walk, "example-probe")->identity.revision_at_least, "1.10");
    walk_roster(&walk, NULL);
    only(&walk, "roster_firmware_old", "P01"); // it is 1.4
    walk_close(&walk);
}

static void calibration_is_due_after_its_interval_and_its_date(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 1, .loops = 1, .encoders = 1}, 5);
    walk.run.today_days += 800;
    walk_roster(&walk, NULL);
    assert_non_null(walk_found(&walk, "roster_calibration_due", "P01")); // interval
    assert_non_null(walk_found(&walk, "roster_calibration_due", "P02")); // its own due date
    assert_int_equal(walk_count(&walk, NULL), 2);
    walk_close(&walk);
}

static void a_date_that_is_not_told_is_said(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 5);
    walk_roster(&walk, &result);
    walk_forget(&walk);
    replace(&((struct lw_roster_node *)result.nodes.items)[1].calibrated_on, NULL);
    lw_roster_findings(&walk.run, &walk.plan, &result, &walk.findings);
    only(&walk, "roster_calibration_unknown", "P02");
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void an_open_sensor_is_told_by_its_status(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(
        &walk, &(struct cell){.loops = 3, .faults = "{\"kind\": \"unplugged_sensor\", \"tap\": 2}"},
        5);
    walk_roster(&walk, NULL);
    assert_non_null(walk_found(&walk, "roster_sensor_open", "P02"));
    assert_null(walk_found(&walk, "roster_sensor_open", "P01"));
    walk_close(&walk);
}

static void a_sensor_plugged_in_live_leaves_a_stale_identity(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 3,
                                  .faults = "{\"kind\": \"unplugged_sensor\", \"tap\": 2, "
                                            "\"from_s\": 0.0, \"to_s\": 0.5}"},
                   5);
    assert_int_equal(lw_client_wait(walk.client, 1, NULL), LW_OK);
    walk_roster(&walk, NULL);
    only(&walk, "roster_stale_identity", "P02");
    walk_close(&walk);
}

static void addresses_that_a_scan_found_are_looked_at_too(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    struct lw_error error = {0};
    struct lw_roster_options options = {0};
    options.addresses[3] = true;
    walk_open_cell(&walk, &(struct cell){.probes = 2, .unplanned = 1}, 5);
    assert_int_equal(
        lw_roster_measure(&walk.run, walk.client, &walk.plan, &options, &result, &error), LW_OK);
    lw_roster_findings(&walk.run, &walk.plan, &result, &walk.findings);
    only(&walk, "roster_unplanned", NULL);
    assert_int_equal(at(&result, 3)->tap, 0);
    assert_string_equal(at(&result, 3)->product_code, "EX-D10");
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void what_is_there_drafts_a_plan(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    struct lw_error error = {0};
    struct lw_text text = {0};
    struct lw_plan draft;
    walk_open_cell(&walk, &(struct cell){.probes = 1, .loops = 1, .airs = 1}, 5);
    walk_roster(&walk, &result);
    assert_int_equal(lw_roster_draft(&result, &walk.plan.profiles, "19200/8E1", &text, &error),
                     LW_OK);
    if (lw_json_read(&lw_plan_shape, text.bytes, text.length, &draft, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    const struct lw_chain_entry *entries = draft.chain.items;
    assert_int_equal(draft.chain.count, 3);
    assert_string_equal(entries[1].profile, "example-loop");
    assert_string_equal(entries[2].serial, "100003");
    lw_json_free(&lw_plan_shape, &draft);
    lw_text_finish(&text);
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tells_who_everyone_is),
        cmocka_unit_test(a_dead_node_is_missing),
        cmocka_unit_test(a_node_at_another_framing_is_found_there),
        cmocka_unit_test(nodes_in_each_others_place_are_swapped),
        cmocka_unit_test(two_like_nodes_in_step_are_doubled),
        cmocka_unit_test(bit_errors_make_no_doubled_nodes),
        cmocka_unit_test(another_kind_of_device_is_named),
        cmocka_unit_test(another_serial_is_another_node),
        cmocka_unit_test(a_plan_without_a_serial_leaves_it_unproved),
        cmocka_unit_test(another_sensor_is_named),
        cmocka_unit_test(firmware_is_compared_number_by_number),
        cmocka_unit_test(calibration_is_due_after_its_interval_and_its_date),
        cmocka_unit_test(a_date_that_is_not_told_is_said),
        cmocka_unit_test(an_open_sensor_is_told_by_its_status),
        cmocka_unit_test(a_sensor_plugged_in_live_leaves_a_stale_identity),
        cmocka_unit_test(addresses_that_a_scan_found_are_looked_at_too),
        cmocka_unit_test(what_is_there_drafts_a_plan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
