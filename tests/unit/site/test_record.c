// SPDX-License-Identifier: GPL-3.0-or-later
//
// Findings and records: built, written, read back, and refused when they are wrong.
#include "site/record.h"
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void verdicts_go_from_better_to_worse(void **state)
{
    (void)state;
    assert_int_equal(lw_verdict_worse(LW_PASS, LW_NOT_TESTED), LW_NOT_TESTED);
    assert_int_equal(lw_verdict_worse(LW_ATTENTION, LW_NOT_TESTED), LW_ATTENTION);
    assert_int_equal(lw_verdict_worse(LW_UNDECIDED, LW_ATTENTION), LW_UNDECIDED);
    assert_int_equal(lw_verdict_worse(LW_UNDECIDED, LW_FAIL), LW_FAIL);
    assert_string_equal(lw_verdict_word(LW_NOT_TESTED), "not_tested");
    assert_string_equal(lw_verdict_shown(LW_NOT_TESTED), "not tested");
}

static void no_finding_is_a_pass_and_the_worst_one_counts(void **state)
{
    (void)state;
    struct lw_findings findings = {0};
    assert_int_equal(lw_findings_worst(&findings), LW_PASS);
    lw_findings_add(&findings, "scan_late", LW_ATTENTION, "late");
    lw_findings_add(&findings, "scan_missing", LW_FAIL, "missing");
    lw_findings_add(&findings, "scan_garbled", LW_UNDECIDED, "garbled");
    assert_int_equal(lw_findings_worst(&findings), LW_FAIL);
    assert_int_equal(lw_findings_check(&findings, NULL), LW_OK);
    lw_findings_free(&findings);
    assert_int_equal(findings.list.count, 0);
}

static void finding_names_its_node_in_the_next_step(void **state)
{
    (void)state;
    struct lw_findings findings = {0};
    struct lw_finding *finding =
        lw_findings_add(&findings, "scan_missing", LW_FAIL, "%s does not answer", "P03");
    lw_finding_node(&findings, finding, "P03", 3, 3);
    lw_finding_because(&findings, finding, "asked %d times", 2);
    assert_string_equal(finding->says, "P03 does not answer");
    assert_non_null(strstr(finding->next, "look at P03"));
    assert_non_null(finding->caution);
    assert_int_equal(finding->tap, 3);
    assert_string_equal(((char **)finding->because.items)[0], "asked 2 times");
    assert_true(isnan(finding->value) && isnan(finding->limit) && isnan(finding->uncertainty));
    lw_findings_free(&findings);
}

static void finding_without_a_name_is_known_by_its_address_or_span(void **state)
{
    (void)state;
    struct lw_findings findings = {0};
    struct lw_finding *finding =
        lw_findings_add(&findings, "scan_unplanned", LW_FAIL, "address 9 answers");
    lw_finding_node(&findings, finding, NULL, 0, 9);
    assert_null(finding->node);
    assert_non_null(strstr(finding->next, "address 9"));
    finding = lw_findings_add(&findings, "supply_weak_span", LW_FAIL, "span 3 is weak");
    lw_finding_span(&findings, finding, 3);
    assert_int_equal(finding->span, 3);
    assert_non_null(strstr(finding->next, "span 3"));
    lw_findings_free(&findings);
}

static void what_a_node_says_is_cleaned_on_its_way_into_a_finding(void **state)
{
    (void)state;
    struct lw_findings findings = {0};
    struct lw_finding *finding =
        lw_findings_add(&findings, "roster_wrong_kind", LW_FAIL, "it is '%s'", "\x1b[31mEX\n");
    assert_null(strpbrk(finding->says, "\x1b\n"));
    lw_findings_free(&findings);
}

static void example_record_reads_and_reads_back_after_writing(void **state)
{
    (void)state;
    char *text = site_data("record.json");
    struct lw_record record;
    struct lw_error error = {0};
    assert_int_equal(lw_record_read(text, strlen(text), "record.json", &record, &error), LW_OK);
    assert_string_equal(record.check, "link");
    assert_int_equal(record.number, 4);
    assert_int_equal(record.verdict, LW_UNDECIDED);
    assert_int_equal(record.findings.list.count, 1);
    const struct lw_finding *finding = record.findings.list.items;
    assert_int_equal(finding->severity, LW_UNDECIDED);
    assert_true(isnan(finding->uncertainty));
    assert_int_equal(record.rule->corrected_for, 24);
    assert_non_null(strstr(record.result, "\"upper95\""));

    struct lw_text first = {0}, second = {0};
    struct lw_record again;
    assert_int_equal(lw_json_write(&lw_record_shape, &record, true, &first, &error), LW_OK);
    assert_int_equal(lw_record_read(first.bytes, first.length, "again", &again, &error), LW_OK);
    assert_int_equal(lw_json_write(&lw_record_shape, &again, true, &second, &error), LW_OK);
    assert_string_equal(first.bytes, second.bytes);
    lw_json_free(&lw_record_shape, &record);
    lw_json_free(&lw_record_shape, &again);
    lw_text_finish(&first);
    lw_text_finish(&second);
    free(text);
}

static void expect_refused(const char *from, const char *to, const char *because)
{
    char *text = site_data("record.json");
    char *changed = site_changed(text, from, to);
    struct lw_record record;
    struct lw_error error = {0};
    assert_int_equal(lw_record_read(changed, strlen(changed), "x.json", &record, &error),
                     LW_BAD_FILE);
    assert_string_equal(error.context, "record 'x.json'");
    if (strstr(error.says, because) == NULL) {
        fail_msg("'%s' is not in '%s'", because, error.says);
    }
    free(text);
    free(changed);
}

static void wrong_records_are_refused(void **state)
{
    (void)state;
    expect_refused("linewalk/record/1", "linewalk/record/2", "/format: must be");
    expect_refused("2026-11-25T08:31:02.118Z", "yesterday", "/started: must be a date");
    expect_refused("\"severity\": \"undecided\"", "\"severity\": \"pass\"",
                   "/findings/0/severity: a finding is never 'pass'");
    expect_refused("\"severity\": \"undecided\"", "\"severity\": \"maybe\"",
                   "/findings/0/severity");
    expect_refused("\"number\": 4", "\"number\": -4", "/number");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(verdicts_go_from_better_to_worse),
        cmocka_unit_test(no_finding_is_a_pass_and_the_worst_one_counts),
        cmocka_unit_test(finding_names_its_node_in_the_next_step),
        cmocka_unit_test(finding_without_a_name_is_known_by_its_address_or_span),
        cmocka_unit_test(what_a_node_says_is_cleaned_on_its_way_into_a_finding),
        cmocka_unit_test(example_record_reads_and_reads_back_after_writing),
        cmocka_unit_test(wrong_records_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
