// SPDX-License-Identifier: GPL-3.0-or-later
//
// Plans: the example reads, and each way of being wrong gives its one line.
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void load(struct lw_plan *plan)
{
    char says[LW_ERROR_SAYS];
    if (site_load_plan(NULL, NULL, plan, says, sizeof says) != LW_OK) {
        fail_msg("%s", says);
    }
}

static void example_plan_reads_with_its_profile(void **state)
{
    (void)state;
    struct lw_plan plan;
    load(&plan);
    assert_int_equal(lw_plan_taps(&plan), 4);
    assert_int_equal(lw_plan_nodes(&plan), 4);
    assert_int_equal(plan.framing.rate, 19200);
    assert_int_equal(plan.framing.parity, 'E');
    const struct lw_chain_entry *third = lw_plan_tap(&plan, 3);
    assert_string_equal(third->node, "P03");
    assert_string_equal(third->is->identity.product_code, "EX-D10");
    assert_true(third->span->length_m == 4.0);
    assert_int_equal(lw_plan_at(&plan, plan.line.tester_at), 1);
    assert_int_equal(plan.required_checks.count, 5);
    assert_int_equal(plan.combinations.count, 1);
    const struct lw_combination *sum = plan.combinations.items;
    assert_string_equal(((const struct lw_term *)sum->terms.items)[1].node, "P02");
    const struct lw_fault *fault = lw_plan_fault(&plan, 0);
    assert_int_equal(fault->kind, LW_FAULT_WEAK_SPAN);
    assert_true(fault->from_s == 0 && isinf(fault->to_s));
    assert_null(lw_plan_fault(&plan, 2));
    assert_null(lw_plan_tap(&plan, 0));
    assert_null(lw_plan_tap(&plan, 5));
    lw_plan_free(&plan);
}

static void plan_written_reads_back_the_same(void **state)
{
    (void)state;
    struct lw_plan plan, again;
    struct lw_text first = {0}, second = {0};
    struct lw_error error = {0};
    load(&plan);
    assert_int_equal(lw_json_write(&lw_plan_shape, &plan, true, &first, &error), LW_OK);
    if (lw_json_read(&lw_plan_shape, first.bytes, first.length, &again, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(lw_json_write(&lw_plan_shape, &again, true, &second, &error), LW_OK);
    assert_string_equal(first.bytes, second.bytes);
    lw_json_free(&lw_plan_shape, &again);
    lw_plan_free(&plan);
    lw_text_finish(&first);
    lw_text_finish(&second);
}

static void limits_come_from_the_nearest_that_says_them(void **state)
{
    (void)state;
    struct lw_plan plan;
    load(&plan);
    struct lw_limits fourth = lw_plan_limits(&plan, 4);
    struct lw_limits first = lw_plan_limits(&plan, 1);
    assert_true(fourth.noise_limit == 0.0008); // the entry's own
    assert_true(first.noise_limit == 0.0005);  // the profile's
    assert_true(first.margin_v == 1.0);        // the plan's
    assert_true(first.reply_ms == 12);         // the profile's
    assert_true(isnan(first.first_answer_s));  // nobody's
    lw_plan_free(&plan);
}

static void limits_nobody_gives_are_built_in(void **state)
{
    (void)state;
    struct lw_plan plan;
    char says[LW_ERROR_SAYS];
    assert_int_equal(site_load_plan("\"limits\": {\"margin_v\": 1.0, \"supply_load_pct\": 80, "
                                    "\"error_rate\": 0.001}",
                                    "\"limits\": {}", &plan, says, sizeof says),
                     LW_OK);
    struct lw_limits limits = lw_plan_limits(&plan, 0);
    assert_true(limits.margin_v == 1 && limits.supply_load_pct == 80);
    assert_true(limits.error_rate == 1e-3);
    assert_true(isnan(limits.noise_limit) && isnan(limits.reply_ms));
    lw_plan_free(&plan);
}

struct wrong {
    const char *from, *to, *says;
};

static void expect_wrong(const struct wrong *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct lw_plan plan;
        char says[LW_ERROR_SAYS];
        enum lw_status status = site_load_plan(rows[i].from, rows[i].to, &plan, says, sizeof says);
        if (status != LW_BAD_FILE || strstr(says, rows[i].says) == NULL) {
            fail_msg("status %s, '%s' instead of '%s'", lw_status_word(status), says, rows[i].says);
        }
    }
}

static void files_that_are_no_good_json_are_refused(void **state)
{
    (void)state;
    static const struct wrong rows[] = {
        {"\"revision\": \"A\",", "\"revision\": \"A\"", "line 3"},
        {"\"revision\": \"A\"", "\"revison\": \"A\"", "/revison: unknown key"},
        {"\"revision\": \"A\"", "\"revision\": \"A\", \"revision\": \"B\"", "revision"},
        {"\"revision\": \"A\"", "\"revision\": \"\\u0000\"", "\\u0000"},
        {"\"ambient_c\": 30", "\"ambient_c\": 1e999", "number too large"},
    };
    expect_wrong(rows, sizeof rows / sizeof *rows);
}

static void values_out_of_range_are_refused(void **state)
{
    (void)state;
    static const struct wrong rows[] = {
        {"linewalk/plan/1", "linewalk/plan/9", "/format: must be 'linewalk/plan/1'"},
        {"{\"length_m\": 4.0}", "{\"length_m\": -1}",
         "/chain/2/span/length_m: must be above 0, is -1"},
        {"\"19200/8E1\"", "\"19200/9E1\"", "/line/framing: '19200/9E1' is no framing"},
        {"2026-10-19", "19.10.2026", "/made_on: must be a date"},
        {"\"limit_a\": 2.5, ", "", "/supplies/0/limit_a: missing"},
        {"\"address\": 4", "\"address\": 248", "/chain/3/address"},
    };
    expect_wrong(rows, sizeof rows / sizeof *rows);
}

static void chains_that_cannot_be_are_refused(void **state)
{
    (void)state;
    static const struct wrong rows[] = {
        {"\"address\": 4", "\"address\": 2", "/chain/3/address: 2 is already used by 'P02'"},
        {"\"node\": \"P04\"", "\"node\": \"P01\"",
         "/chain/3/node: 'P01' is already the name of tap 1"},
        {"\"node\": \"P04\", ", "", "/chain/3/node: missing"},
        {"\"node\": \"P04\"", "\"node\": \"P\\u001b4\"", "/chain/3/node: a name has"},
        {"\"node\": \"P04\"", "\"node\": \"P 4\"", "/chain/3/node: a name has"},
        {"\"node\": \"P04\"", "\"passive\": \"joint\", \"node\": \"P04\"",
         "/chain/3/node: a passive tap has none"},
        {"\"profile\": \"example-probe\", \"address\": 4", "\"profile\": \"other\", \"address\": 4",
         "/chain/3/profile: 'other' is unknown: "},
        {"\"feeds_tap\": 1", "\"feeds_tap\": 9",
         "/supplies/0/feeds_tap: there is no tap 9, the chain has 4"},
        {"{\"at\": 4,", "{\"at\": 5,", "/line/terminations/1/at: there is no tap 5"},
        {"\"zero_v_bonds\": []", "\"zero_v_bonds\": [{\"at\": 7}]", "/zero_v_bonds/0/at"},
        {"[1, \"P02\"]", "[1, \"P09\"]", "/combinations/0/terms/1/1: there is no node 'P09'"},
        {"\"P01-P04\"", "\"P01-P09\"", "/controller/reads/0/nodes: there is no node 'P09'"},
        {"\"required_checks\": [\"scan\"", "\"required_checks\": [\"scam\"",
         "/required_checks/0: there is no check 'scam'"},
    };
    expect_wrong(rows, sizeof rows / sizeof *rows);
}

static void spans_and_supplies_without_known_resistance_are_refused(void **state)
{
    (void)state;
    static const struct wrong rows[] = {
        {"\"span_default\": {\"length_m\": 0.5, ", "\"span_default\": {",
         "/chain/1/span/length_m: missing, here and in span_default"},
        {"\"conductor\": {\"area_mm2\": 0.5}, ", "", "/chain/1/span/conductor: missing"},
        {"{\"area_mm2\": 0.5}", "{\"area_mm2\": 0.5, \"awg\": 20}",
         "/span_default/conductor: give exactly one"},
        {"{\"area_mm2\": 0.5}", "{\"area_mm2\": 0.5, \"stranded\": true}",
         "/span_default/conductor/stranded"},
        {"{\"area_mm2\": 1.0}", "{}", "/supplies/0/lead/conductor: give exactly one"},
        {"\"joint_ohm_max\": 0.010", "\"joint_ohm_max\": 0.001",
         "/span_default/joint_ohm_max: 0.001 is below joint_ohm"},
        {"{\"air_c\": 60", "{\"air_c\": 20", "/supplies/0/derating"},
    };
    expect_wrong(rows, sizeof rows / sizeof *rows);
}

static void faults_must_have_the_keys_of_their_kind(void **state)
{
    (void)state;
    static const struct wrong rows[] = {
        {"\"span\": 3, ", "", "/virtual/faults/0/span: missing, a 'weak_span' needs it"},
        {"\"extra_ohm\": 3.0", "\"extra_ohm\": 3.0, \"tap\": 2",
         "/virtual/faults/0/tap: a 'weak_span' has none"},
        {"\"span\": 3, ", "\"span\": 5, ", "/virtual/faults/0/span: there is no tap 5"},
        {"\"reach_taps\": 1", "\"reach_taps\": 0", "/virtual/faults/1/reach_taps: must be above 0"},
        {"\"rail\": \"v_plus\"", "\"rail\": \"v_minus\"", "/virtual/faults/0/rail"},
        {"\"reach_taps\": 1", "\"from_s\": 10, \"to_s\": 5",
         "/virtual/faults/1/to_s: 5 is not after from_s, 10"},
        {"\"kind\": \"magnet_near\", \"tap\": 2, \"field\": 0.003, \"steady\": 0.0, "
         "\"reach_taps\": 1",
         "\"kind\": \"hiccup\", \"supply\": \"PS9\"",
         "/virtual/faults/1/supply: there is no supply 'PS9'"},
        {"\"kind\": \"magnet_near\", \"tap\": 2, \"field\": 0.003, \"steady\": 0.0, "
         "\"reach_taps\": 1",
         "\"kind\": \"swapped_places\", \"taps\": [2, 2]",
         "/virtual/faults/1/taps: the two are the same"},
        {"\"kind\": \"magnet_near\", \"tap\": 2, \"field\": 0.003, \"steady\": 0.0, "
         "\"reach_taps\": 1",
         "\"kind\": \"wrong_framing\", \"tap\": 2, \"framing\": \"fast\"",
         "/virtual/faults/1/framing: 'fast' is no framing"},
    };
    expect_wrong(rows, sizeof rows / sizeof *rows);
}

static const char small_plan[] =
    "{\"format\": \"linewalk/plan/1\", \"line\": {\"framing\": \"9600/8N1\"},"
    " \"supplies\": [{\"nominal_v\": 24, \"limit_a\": 1, \"feeds_tap\": 1}],"
    " \"span_default\": {\"length_m\": 1, \"conductor\": {\"awg\": 20}},"
    " \"chain\": [{\"passive\": \"joint\"},"
    " {\"node\": \"A-1\", \"profile\": \"p\", \"address\": 5},"
    " {\"passive\": \"repeater\"},"
    " {\"node\": \"A-2\", \"profile\": \"p\", \"address\": 6}]}";

static void load_small(struct lw_plan *plan)
{
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    site_put(folder, "plan.json", small_plan);
    site_put(folder, "profiles/p.json",
             "{\"format\": \"linewalk/profile/1\", \"name\": \"p\", \"kind\": \"air\"}");
    if (lw_plan_load(site_path(folder, "plan.json"), NULL, NULL, plan, NULL, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    site_folder_remove(folder);
}

static void passive_tap_needs_neither_address_nor_profile(void **state)
{
    (void)state;
    struct lw_plan plan;
    size_t tap = 0;
    load_small(&plan);
    assert_int_equal(lw_plan_taps(&plan), 4);
    assert_int_equal(lw_plan_nodes(&plan), 2);
    assert_null(lw_plan_tap(&plan, 1)->is);
    assert_int_equal(lw_plan_by_address(&plan, 6, &tap)->address, 6);
    assert_int_equal(tap, 4);
    assert_null(lw_plan_by_address(&plan, 0, NULL));
    lw_plan_free(&plan);
}

static void what_a_plan_does_not_say_has_the_stated_default(void **state)
{
    (void)state;
    struct lw_plan plan;
    load_small(&plan);
    assert_true(plan.ambient_c == 20 && plan.cabinet_c == 20);
    assert_int_equal(plan.required_checks.count, 5);
    assert_string_equal(((char **)plan.required_checks.items)[4], "noise");
    assert_string_equal(((struct lw_supply *)plan.supplies.items)->name, "PS1");
    assert_null(plan.simulated);
    assert_int_equal(plan.line.tester_at, LW_TAP_HEAD);
    assert_int_equal(lw_plan_at(&plan, LW_TAP_TAIL), 4);
    lw_plan_free(&plan);
}

static void error_names_the_file(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    site_put(folder, "cell4.json", "{\"format\": \"linewalk/plan/1\"}");
    const char *path = site_path(folder, "cell4.json");
    char context[LW_ERROR_CONTEXT];
    lw_print(context, sizeof context, "plan '%s'", path);
    assert_int_equal(lw_plan_load(path, NULL, NULL, &plan, NULL, &error), LW_BAD_FILE);
    assert_string_equal(error.context, context);
    assert_string_equal(error.says, "/line: missing");
    assert_int_equal(lw_plan_load(site_path(folder, "none.json"), NULL, NULL, &plan, NULL, &error),
                     LW_SYSTEM);
    site_folder_remove(folder);
}

static void unknown_profile_lists_what_there_is(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    char *text = site_data("plan.json");
    site_put(folder, "plan.json", text);
    site_put(folder, "profiles/a.json",
             "{\"format\": \"linewalk/profile/1\", \"name\": \"first\", \"kind\": \"air\"}");
    site_put(folder, "profiles/b.json",
             "{\"format\": \"linewalk/profile/1\", \"name\": \"second\", \"kind\": \"none\"}");
    const char *path = site_path(folder, "plan.json");
    assert_int_equal(lw_plan_load(path, NULL, NULL, &plan, NULL, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "/chain/0/profile: 'example-probe' is unknown: "));
    assert_non_null(strstr(error.says, " has first, second"));
    site_put(folder, "profiles/c.json", "{\"name\": 7}");
    assert_int_equal(lw_plan_load(path, NULL, NULL, &plan, NULL, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "cannot be read: profile '"));
    assert_int_equal(lw_plan_load(path, "/no/such/folder", NULL, &plan, NULL, &error), LW_USAGE);
    free(text);
    site_folder_remove(folder);
}

static void two_profiles_of_one_name_are_refused(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_list profiles;
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    char *text = site_data("plan.json");
    char *profile = site_data("profiles/example-probe.json");
    site_put(folder, "plan.json", text);
    site_put(folder, "profiles/a.json", profile);
    site_put(folder, "profiles/b.json", profile);
    const char *path = site_path(folder, "plan.json");
    assert_int_equal(lw_plan_load(path, NULL, NULL, &plan, NULL, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "/name: 'example-probe' is the name of another profile"));
    assert_int_equal(lw_profiles_load(site_path(folder, "profiles"), &profiles, NULL, &error),
                     LW_BAD_FILE);
    free(text);
    free(profile);
    site_folder_remove(folder);
}

static void profiles_of_a_folder_load_or_the_broken_one_is_named(void **state)
{
    (void)state;
    struct lw_list profiles;
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    site_put(folder, "b.json",
             "{\"format\": \"linewalk/profile/1\", \"name\": \"first\", \"kind\": \"air\"}");
    site_put(folder, "a.json",
             "{\"format\": \"linewalk/profile/1\", \"name\": \"second\", \"kind\": \"air\"}");
    site_put(folder, "remarks.txt", "no profile");
    assert_int_equal(lw_profiles_load(folder, &profiles, NULL, &error), LW_OK);
    assert_int_equal(profiles.count, 2);
    assert_string_equal(((struct lw_profile *)profiles.items)[0].name, "second");
    lw_profiles_free(&profiles);
    site_put(folder, "c.json", "[");
    assert_int_equal(lw_profiles_load(folder, &profiles, NULL, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.context, "c.json"));
    site_folder_remove(folder);
}

static void installed_profiles_serve_where_there_are_none_beside_the_plan(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_error error = {0};
    const char *folder = site_folder_make();
    char *text = site_data("plan.json");
    site_put(folder, "plan.json", text);
    assert_int_equal(remove(site_path(folder, "profiles")), 0);
    const char *path = site_path(folder, "plan.json");
    assert_int_equal(lw_plan_load(path, NULL, NULL, &plan, NULL, &error), LW_BAD_FILE);
    assert_non_null(strstr(error.says, "there is no folder of profiles beside the plan"));
    assert_int_equal(lw_plan_load(path, NULL, TEST_DATA "/site/profiles", &plan, NULL, &error),
                     LW_OK);
    lw_plan_free(&plan);
    free(text);
    site_folder_remove(folder);
}

static void inputs_are_the_plan_and_the_profiles_it_uses(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_inputs inputs = {0};
    struct lw_error error = {0};
    const char *folder = TEST_DATA "/site";
    assert_int_equal(
        lw_plan_load(site_path(folder, "plan.json"), NULL, NULL, &plan, &inputs, &error), LW_OK);
    assert_int_equal(inputs.count, 2);
    char digest[LW_DIGEST];
    assert_int_equal(lw_file_digest(site_path(folder, "plan.json"), digest, NULL), LW_OK);
    assert_string_equal(inputs.items[0].digest, digest);
    assert_non_null(strstr(inputs.items[1].path, "profiles/example-probe.json"));
    lw_inputs_free(&inputs);
    lw_plan_free(&plan);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(example_plan_reads_with_its_profile),
        cmocka_unit_test(plan_written_reads_back_the_same),
        cmocka_unit_test(limits_come_from_the_nearest_that_says_them),
        cmocka_unit_test(limits_nobody_gives_are_built_in),
        cmocka_unit_test(files_that_are_no_good_json_are_refused),
        cmocka_unit_test(values_out_of_range_are_refused),
        cmocka_unit_test(chains_that_cannot_be_are_refused),
        cmocka_unit_test(spans_and_supplies_without_known_resistance_are_refused),
        cmocka_unit_test(faults_must_have_the_keys_of_their_kind),
        cmocka_unit_test(passive_tap_needs_neither_address_nor_profile),
        cmocka_unit_test(what_a_plan_does_not_say_has_the_stated_default),
        cmocka_unit_test(error_names_the_file),
        cmocka_unit_test(unknown_profile_lists_what_there_is),
        cmocka_unit_test(two_profiles_of_one_name_are_refused),
        cmocka_unit_test(profiles_of_a_folder_load_or_the_broken_one_is_named),
        cmocka_unit_test(installed_profiles_serve_where_there_are_none_beside_the_plan),
        cmocka_unit_test(inputs_are_the_plan_and_the_profiles_it_uses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
