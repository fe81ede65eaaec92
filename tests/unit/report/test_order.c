// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which records the report tells of.
#include "report/build.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_record record(int number, const char *check, const char *state, bool complete)
{
    return (struct lw_record){
        .number = number, .check = (char *)check, .state = (char *)state, .complete = complete};
}

static void check_chosen(struct lw_record *records, size_t count, const int *numbers, size_t chosen)
{
    struct lw_list all = {records, count}, counting = {0};
    assert_true(lw_report_choose(&all, &counting));
    assert_int_equal(counting.count, chosen);
    for (size_t i = 0; i < chosen; i++) {
        const struct lw_report_counted *counted = counting.items;
        assert_int_equal(counted[i].record->number, numbers[i]);
        assert_null(counted[i].result);
    }
    free(counting.items);
}

static void the_last_record_of_a_check_counts(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "scan", NULL, true), record(2, "roster", NULL, true),
                                  record(3, "scan", NULL, true)};
    check_chosen(records, 3, (int[]){2, 3}, 2);
}

static void a_finished_record_counts_before_a_later_cut_one(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "scan", NULL, true), record(2, "scan", NULL, false)};
    check_chosen(records, 2, (int[]){1}, 1);
}

static void a_cut_record_counts_where_there_is_no_other(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "scan", NULL, false), record(2, "scan", NULL, false)};
    check_chosen(records, 2, (int[]){2}, 1);
}

static void noise_counts_once_for_each_machine_state(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "noise", "drives off", true),
                                  record(2, "noise", "drives on", true),
                                  record(3, "noise", "drives off", true)};
    check_chosen(records, 3, (int[]){2, 3}, 2);
}

static void every_note_counts(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "note", NULL, true), record(2, "note", NULL, true)};
    check_chosen(records, 2, (int[]){1, 2}, 2);
}

static void leaving_a_check_out_does_not_undo_it(void **state)
{
    (void)state;
    struct lw_record records[] = {record(1, "link", NULL, true), record(2, "link", NULL, true)};
    records[1].skipped = (char *)"no time";
    check_chosen(records, 2, (int[]){1, 2}, 2);
}

static void no_records_are_no_error(void **state)
{
    (void)state;
    check_chosen(NULL, 0, NULL, 0);
}

static void times_are_told_in_utc_to_the_minute(void **state)
{
    (void)state;
    char text[64];
    lw_report_time("2026-11-25T08:31:02.118Z", text, sizeof text);
    assert_string_equal(text, "2026-11-25 08:31 UTC");
    lw_report_time("2026-11-25T09:31:02+01:00", text, sizeof text);
    assert_string_equal(text, "2026-11-25 08:31 UTC");
    lw_report_time("yesterday", text, sizeof text);
    assert_string_equal(text, "yesterday");
    lw_report_time(NULL, text, sizeof text);
    assert_string_equal(text, "-");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_last_record_of_a_check_counts),
        cmocka_unit_test(a_finished_record_counts_before_a_later_cut_one),
        cmocka_unit_test(a_cut_record_counts_where_there_is_no_other),
        cmocka_unit_test(noise_counts_once_for_each_machine_state),
        cmocka_unit_test(every_note_counts),
        cmocka_unit_test(leaving_a_check_out_does_not_undo_it),
        cmocka_unit_test(no_records_are_no_error),
        cmocka_unit_test(times_are_told_in_utc_to_the_minute),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
