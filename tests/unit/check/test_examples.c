// SPDX-License-Identifier: GPL-3.0-or-later
//
// The committed example of every JSON kind can be read, and the profiles beside the demo plans are
// those that ship.
#include "base/file.h"
#include "check/link.h"
#include "site/visit.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static struct lw_text read_file(const char *folder, const char *name)
{
    char path[1024];
    struct lw_text text = {0};
    struct lw_error error = {0};
    lw_print(path, sizeof path, "%s/%s", folder, name);
    if (lw_file_read(path, 1 << 20, &text, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    return text;
}

static void the_example_plan_loads_with_the_shipped_profiles(void **state)
{
    (void)state;
    struct lw_plan plan;
    struct lw_error error = {0};
    if (lw_plan_load(EXAMPLES "/plan.json", NULL, SHIPPED_PROFILES, &plan, NULL, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    assert_int_equal(lw_plan_nodes(&plan), 4);
    lw_plan_free(&plan);
}

static void the_example_visit_reads(void **state)
{
    (void)state;
    struct lw_visit_facts visit;
    struct lw_text text = read_file(EXAMPLES, "visit.json");
    struct lw_error error = {0};
    assert_int_equal(lw_json_read(&lw_visit_shape, text.bytes, text.length, &visit, &error), LW_OK);
    lw_json_free(&lw_visit_shape, &visit);
    lw_text_finish(&text);
}

static void the_example_record_reads_with_its_result(void **state)
{
    (void)state;
    struct lw_record record;
    struct lw_link_result result;
    struct lw_error error = {0};
    struct lw_text text = read_file(EXAMPLES, "record.json");
    assert_int_equal(lw_record_read(text.bytes, text.length, "record.json", &record, &error),
                     LW_OK);
    assert_int_equal(record.verdict, LW_UNDECIDED);
    assert_int_equal(record.findings.list.count, 1);
    assert_int_equal(
        lw_json_read(&lw_link_shape, record.result, strlen(record.result), &result, &error), LW_OK);
    assert_int_equal(result.nodes.count, 4);
    lw_json_free(&lw_link_shape, &result);
    lw_json_free(&lw_record_shape, &record);
    lw_text_finish(&text);
}

static void the_demos_carry_the_shipped_profiles(void **state)
{
    (void)state;
    static const char *const folders[] = {CAPTURES "/demo-healthy/profiles",
                                          CAPTURES "/demo-faulty/profiles"};
    static const char *const names[] = {"example-air.json", "example-encoder.json",
                                        "example-loop.json", "example-probe.json"};
    for (size_t i = 0; i < 2; i++) {
        for (size_t k = 0; k < 4; k++) {
            struct lw_text copy = read_file(folders[i], names[k]);
            struct lw_text shipped = read_file(SHIPPED_PROFILES, names[k]);
            assert_string_equal(copy.bytes, shipped.bytes);
            lw_text_finish(&copy);
            lw_text_finish(&shipped);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_example_plan_loads_with_the_shipped_profiles),
        cmocka_unit_test(the_example_visit_reads),
        cmocka_unit_test(the_example_record_reads_with_its_result),
        cmocka_unit_test(the_demos_carry_the_shipped_profiles),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
