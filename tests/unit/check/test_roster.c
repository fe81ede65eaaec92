// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who each node is against the plan. The chain is built from one plan and the roster told another,
// so that what differs is known.
#include "walk.h"

#include "base/file.h"

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

// The plan as JSON, as a file would have it.
static void plan_json(const struct walk *walk, struct lw_text *text)
{
    struct lw_error error = {0};
    assert_int_equal(lw_json_write(&lw_plan_shape, &walk->plan, true, text, &error), LW_OK);
}

static void revise(const struct walk *walk, const struct lw_roster_result *result,
                   struct lw_list *changes, bool *differs, struct lw_plan *revised)
{
    struct lw_error error = {0};
    struct lw_text before = {0}, after = {0};
    const struct lw_roster_reviser by = {.made_by = "E. Example", .made_on = "2026-03-02"};
    plan_json(walk, &before);
    assert_int_equal(lw_roster_as_built(result, before.bytes, before.length, &walk->plan.profiles,
                                        &by, changes, differs, &after, &error),
                     LW_OK);
    assert_int_equal(lw_json_read(&lw_plan_shape, after.bytes, after.length, revised, &error),
                     LW_OK);
    lw_text_finish(&before);
    lw_text_finish(&after);
}

static bool says(const struct lw_list *changes, const char *sentence)
{
    char *const *items = changes->items;
    for (size_t i = 0; i < changes->count; i++) {
        if (strcmp(items[i], sentence) == 0) {
            return true;
        }
    }
    return false;
}

static void a_plan_is_revised_to_what_was_found(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        struct lw_roster_result result;
        struct lw_error error = {0};
        struct lw_list changes = {0};
        struct lw_plan revised;
        struct lw_roster_options options = {0};
        bool differs = false;
        options.addresses[4] = true;
        walk_open_cell(&walk, &(struct cell){.probes = 2, .loops = 1, .unplanned = 1}, seed);
        replace(&planned(&walk, 1)->serial, "77");
        replace(&planned(&walk, 2)->serial, NULL);
        assert_int_equal(
            lw_roster_measure(&walk.run, walk.client, &walk.plan, &options, &result, &error),
            LW_OK);
        revise(&walk, &result, &changes, &differs, &revised);
        const struct lw_chain_entry *entries = revised.chain.items;
        assert_true(differs);
        assert_true(says(&changes, "P01: serial 100001, was 77"));
        assert_true(says(&changes, "P02: serial 100002, the plan had none"));
        assert_string_equal(entries[0].serial, "100001");
        assert_string_equal(entries[1].serial, "100002");
        assert_string_equal(entries[0].firmware, at(&result, 1)->revision);
        assert_int_equal(revised.chain.count, 4);
        assert_string_equal(entries[3].node, "P04");
        assert_string_equal(entries[3].serial, "100004");
        assert_string_equal(revised.revision, "1");
        assert_string_equal(revised.made_by, "E. Example");
        lw_names_free(&changes);
        lw_json_free(&lw_plan_shape, &revised);
        lw_json_free(&lw_roster_shape, &result);
        walk_close(&walk);
    }
}

static void what_looks_like_a_mistake_stays_as_planned(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    struct lw_list changes = {0};
    struct lw_plan revised;
    bool differs = true;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .faults = "{\"kind\": \"swapped_places\", \"taps\": [2, 3]}, "
                                            "{\"kind\": \"dead_node\", \"tap\": 4}"},
                   5);
    walk_roster(&walk, &result);
    revise(&walk, &result, &changes, &differs, &revised);
    const struct lw_chain_entry *entries = revised.chain.items;
    assert_true(
        says(&changes, "P02: left as planned, it carries the serial of another planned node"));
    assert_true(says(&changes, "P04: left as planned, it does not answer"));
    assert_string_equal(entries[1].serial, "100002");
    assert_string_equal(entries[3].serial, "100004");
    lw_names_free(&changes);
    lw_json_free(&lw_plan_shape, &revised);
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void a_plan_that_is_as_built_stays_and_other_firmware_is_named_later(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    struct lw_list changes = {0};
    struct lw_plan revised;
    bool differs = false;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 5);
    walk_roster(&walk, &result);
    replace(&planned(&walk, 1)->firmware, at(&result, 1)->revision);
    replace(&planned(&walk, 2)->firmware, at(&result, 2)->revision);
    replace(&planned(&walk, 1)->sensor_serial, at(&result, 1)->sensor_serial);
    replace(&planned(&walk, 2)->sensor_serial, at(&result, 2)->sensor_serial);
    revise(&walk, &result, &changes, &differs, &revised);
    assert_false(differs);
    assert_int_equal(changes.count, 0);
    lw_json_free(&lw_roster_shape, &result);
    replace(&planned(&walk, 2)->firmware, "0.9");
    walk_forget(&walk);
    walk_roster(&walk, NULL);
    only(&walk, "roster_firmware_differs", "P02");
    lw_json_free(&lw_plan_shape, &revised);
    walk_close(&walk);
}

static void another_kind_is_taken_with_its_profile(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_roster_result result;
    struct lw_list changes = {0};
    struct lw_plan revised;
    bool differs = false;
    walk_open_cell(&walk, &(struct cell){.probes = 1, .loops = 1}, 5);
    replace(&planned(&walk, 2)->profile, "example-probe");
    planned(&walk, 2)->is = profile(&walk, "example-probe");
    walk_roster(&walk, &result);
    revise(&walk, &result, &changes, &differs, &revised);
    const struct lw_chain_entry *entries = revised.chain.items;
    assert_string_equal(entries[1].profile, "example-loop");
    assert_null(entries[1].serial);
    assert_true(says(&changes, "P02: profile example-loop, was example-probe; the next roster "
                               "reads its serial for the plan"));
    lw_names_free(&changes);
    lw_json_free(&lw_plan_shape, &revised);
    lw_json_free(&lw_roster_shape, &result);
    walk_close(&walk);
}

static void revisions_go_on_as_they_are_numbered(void **state)
{
    (void)state;
    static const struct {
        const char *now, *next;
    } rows[] = {{NULL, "1"},          {"7", "8"},         {"A", "B"},
                {"2.09", "2.10"},     {"9", "10"},        {"Z", "Z.1"},
                {"draft", "draft.1"}, {"rev C", "rev D"}, {"draft.1", "draft.2"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char next[40];
        lw_plan_next_revision(rows[i].now, next, sizeof next);
        assert_string_equal(next, rows[i].next);
    }
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
        cmocka_unit_test(a_plan_is_revised_to_what_was_found),
        cmocka_unit_test(what_looks_like_a_mistake_stays_as_planned),
        cmocka_unit_test(a_plan_that_is_as_built_stays_and_other_firmware_is_named_later),
        cmocka_unit_test(another_kind_is_taken_with_its_profile),
        cmocka_unit_test(revisions_go_on_as_they_are_numbered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
