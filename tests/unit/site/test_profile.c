// SPDX-License-Identifier: GPL-3.0-or-later
//
// Profiles: the example reads, and each way of being wrong gives its one line.
#include "base/list.h"
#include "site/profile.h"
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void example_profile_reads(void **state)
{
    (void)state;
    struct lw_profile profile;
    char *text = site_data("profiles/example-probe.json");
    struct lw_error error = {0};
    if (lw_profile_read(text, strlen(text), "p", &profile, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(profile.kind, LW_DISPLACEMENT);
    assert_int_equal(profile.registers.count, 8);
    const struct lw_register *serial = lw_profile_register(&profile, LW_ROLE_SERIAL);
    assert_int_equal(serial->function, 3);
    assert_int_equal(serial->at, 100);
    assert_int_equal(serial->type, LW_U32);
    assert_true(serial->scale == 1 && serial->offset == 0);
    assert_null(lw_profile_register(&profile, LW_ROLE_RAW));
    const struct lw_register *date = lw_profile_register(&profile, LW_ROLE_CALIBRATED_ON);
    assert_int_equal(date->encoding, LW_DAYS_SINCE_1970);
    assert_int_equal(((struct lw_status_bit *)profile.status_bits.items)[3].meaning,
                     LW_BIT_STALE_IDENTITY);
    assert_true(profile.electrical.supply_reading->node_error_v == 0.03);
    assert_true(profile.metrology.error_limit->fixed == 0.002);
    assert_int_equal(profile.setup->framing.at, 201);
    assert_int_equal(profile.setup->framing.values.count, 3);
    assert_int_equal(profile.setup->address.max, 247);
    lw_json_free(&lw_profile_shape, &profile);
    free(text);
}

static void profile_that_says_little_claims_little(void **state)
{
    (void)state;
    static const char text[] =
        "{\"format\": \"linewalk/profile/1\", \"name\": \"p\", \"kind\": \"none\"}";
    struct lw_profile profile;
    assert_int_equal(lw_profile_read(text, strlen(text), "p", &profile, NULL), LW_OK);
    assert_true(isnan(profile.electrical.minimum_v) && isnan(profile.electrical.load.watts));
    assert_true(isnan(profile.metrology.noise_limit));
    assert_true(isnan(profile.timing.slowest_reply_ms));
    assert_null(profile.electrical.supply_reading);
    assert_null(profile.identity.product_code);
    assert_null(profile.setup);
    lw_json_free(&lw_profile_shape, &profile);
}

static void profile_written_reads_back_the_same(void **state)
{
    (void)state;
    struct lw_profile profile, again;
    struct lw_text first = {0}, second = {0};
    struct lw_error error = {0};
    char *text = site_data("profiles/example-probe.json");
    assert_int_equal(lw_profile_read(text, strlen(text), "p", &profile, &error), LW_OK);
    assert_int_equal(lw_json_write(&lw_profile_shape, &profile, true, &first, &error), LW_OK);
    if (lw_profile_read(first.bytes, first.length, "p", &again, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(lw_json_write(&lw_profile_shape, &again, true, &second, &error), LW_OK);
    assert_string_equal(first.bytes, second.bytes);
    lw_json_free(&lw_profile_shape, &profile);
    lw_json_free(&lw_profile_shape, &again);
    lw_text_finish(&first);
    lw_text_finish(&second);
    free(text);
}

static void expect_wrong(const char *from, const char *to, const char *says)
{
    struct lw_profile profile;
    struct lw_error error = {0};
    char *text = site_data("profiles/example-probe.json");
    char *changed = site_changed(text, from, to);
    enum lw_status status = lw_profile_read(changed, strlen(changed), "a.json", &profile, &error);
    assert_int_equal(status, LW_BAD_FILE);
    assert_string_equal(error.context, "profile 'a.json'");
    if (strstr(error.says, says) == NULL) {
        fail_msg("'%s' instead of '%s'", error.says, says);
    }
    free(text);
    free(changed);
}

static void wrong_registers_are_refused(void **state)
{
    (void)state;
    expect_wrong("\"type\": \"f32\"", "\"type\": \"bit\"", "/registers/0/type: functions 1 and 2");
    expect_wrong("\"type\": \"f32\"", "\"type\": \"text\"",
                 "/registers/0/length: belongs to type 'text' alone, which needs it");
    expect_wrong("\"scale\": 0.01", "\"scale\": 0", "/registers/1/scale: must not be 0");
    expect_wrong("\"register\": 102, \"type\": \"u32\"", "\"register\": 65535, \"type\": \"u32\"",
                 "/registers/7/register: ends past register 65535");
    expect_wrong("\"role\": \"status\"", "\"role\": \"reading\"",
                 "/registers/3/role: 'reading' is already the role of /registers/0");
    expect_wrong("\"type\": \"u32\", \"encoding\"", "\"type\": \"f32\", \"encoding\"",
                 "/registers/7/encoding: belongs to types");
    expect_wrong("\"offset\": 0.0, \"unit\": \"mm\"", "\"offset\": 0.0, \"unit\": \"V\"",
                 "/metrology/unit: the reading is in 'V'");
    expect_wrong("\"function\": 4, \"register\": 0", "\"function\": 5, \"register\": 0",
                 "/registers/0/function");
    expect_wrong("{\"bit\": 1,", "{\"bit\": 0,", "/status_bits/1/bit: 0 is there already");
}

static void wrong_figures_are_refused(void **state)
{
    (void)state;
    expect_wrong("linewalk/profile/1", "linewalk/plan/1", "/format: must be");
    expect_wrong("\"name\": \"example-probe\"", "\"name\": \"\"", "/name: must not be empty");
    expect_wrong("\"watts_max\": 1.1", "\"watts_max\": 0.5", "/electrical/load/watts_max: the end");
    expect_wrong("\"watts_max\": 1.1", "\"ohm\": 5", "/electrical/load/ohm: does not belong");
    expect_wrong("\"minimum_v\": 18.0", "\"minimum_v\": 31.0",
                 "/electrical/minimum_v: 31 is above");
    expect_wrong("\"drop_out_v\": 16.0", "\"drop_out_v\": 18.5",
                 "/electrical/drop_out_v: 18.5 is above");
    expect_wrong("[-0.2, 0.2]", "[0.2, -0.2]", "/electrical/receiver_threshold_v: the first");
    expect_wrong("[0.0, 10.0]", "[0.0]", "/metrology/range");
    expect_wrong("\"write_function\": 6", "\"write_function\": 7",
                 "/setup/write_function: must be");
    expect_wrong("\"115200/8E1\": 2", "\"fast\": 2", "/setup/framing/values: 'fast' is no framing");
    expect_wrong("\"min\": 1, \"max\": 247", "\"min\": 9, \"max\": 8", "/setup/address/min");
}

static void revisions_compare_number_by_number(void **state)
{
    (void)state;
    assert_true(lw_revision_compare("1.10", "1.9") > 0);
    assert_true(lw_revision_compare("1.4", "1.4.0") == 0);
    assert_true(lw_revision_compare("1.4", "1.4.1") < 0);
    assert_true(lw_revision_compare("01.4", "1.4") == 0);
    assert_true(lw_revision_compare("2", "1.99") > 0);
    assert_true(lw_revision_compare("1.4a", "1.4b") < 0);
    assert_true(lw_revision_compare("1.99999999999999999999", "1.100000000000000000000") < 0);
}

static void words_of_roles_and_kinds_are_those_of_the_file(void **state)
{
    (void)state;
    assert_string_equal(lw_role_word(LW_ROLE_NONE), "none");
    assert_string_equal(lw_role_word(LW_ROLE_CALIBRATION_DUE), "calibration_due");
    assert_string_equal(lw_role_word(LW_ROLE_AIR_PRESSURE_KPA), "air_pressure_kpa");
    assert_string_equal(lw_device_kind_word(LW_LOOP_4_20), "loop_4_20");
    assert_string_equal(lw_device_kind_word(LW_KIND_NONE), "none");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(example_profile_reads),
        cmocka_unit_test(profile_that_says_little_claims_little),
        cmocka_unit_test(profile_written_reads_back_the_same),
        cmocka_unit_test(wrong_registers_are_refused),
        cmocka_unit_test(wrong_figures_are_refused),
        cmocka_unit_test(revisions_compare_number_by_number),
        cmocka_unit_test(words_of_roles_and_kinds_are_those_of_the_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
