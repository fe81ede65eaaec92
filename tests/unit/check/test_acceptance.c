// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a visit's records add up to: the truth table.
#include "check/acceptance.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

struct records {
    struct lw_record items[12];
    struct lw_list list;
    struct lw_record_line line;
};

static struct lw_record *add(struct records *records, const char *check, enum lw_verdict verdict)
{
    struct lw_record *record = &records->items[records->list.count++];
    record->check = (char *)(uintptr_t)check;
    record->verdict = verdict;
    record->complete = true;
    record->number = (int)records->list.count;
    records->list.items = records->items;
    return record;
}

static struct records all_five(enum lw_verdict last)
{
    struct records records = {0};
    add(&records, "scan", LW_PASS);
    add(&records, "roster", LW_PASS);
    add(&records, "link", LW_PASS);
    add(&records, "supply", LW_PASS);
    add(&records, "noise", last);
    return records;
}

static struct lw_acceptance judged(struct records *records)
{
    struct lw_acceptance acceptance;
    records->list.items = records->items;
    lw_acceptance_judge(NULL, &records->list, 0, &acceptance);
    return acceptance;
}

static struct lw_record_file plan_of_day[] = {{"inputs/aaaaaaaa-plan.json", "aaaaaaaa"},
                                              {"inputs/cccccccc-probe.json", "cccccccc"}},
                             plan_edited[] = {{"inputs/bbbbbbbb-plan.json", "bbbbbbbb"},
                                              {"inputs/cccccccc-probe.json", "cccccccc"}},
                             plan_and_more[] = {{"inputs/aaaaaaaa-plan.json", "aaaaaaaa"},
                                                {"inputs/cccccccc-probe.json", "cccccccc"},
                                                {"inputs/dddddddd-list.csv", "dddddddd"}};

static void use(struct lw_record *record, struct lw_record_file *files, size_t count)
{
    record->inputs = (struct lw_list){.items = files, .count = count};
}

static void what_was_judged_by_another_plan_counts_no_more(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    for (size_t i = 0; i < records.list.count; i++) {
        use(&records.items[i], plan_of_day, 2);
    }
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    use(&records.items[4], plan_edited, 2);
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    assert_string_equal(acceptance.because[0], "scan: done with another plan");
    assert_int_equal(acceptance.because_count, 4);
    for (size_t i = 0; i < 4; i++) {
        use(add(&records, records.items[i].check, LW_PASS), plan_edited, 2);
    }
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    use(add(&records, "scan", LW_PASS), plan_of_day, 2); // and back to the first
    assert_int_equal(judged(&records).verdict, LW_INCOMPLETE);
}

static void a_plan_less_or_a_file_more_is_no_other_plan(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    use(&records.items[1], plan_of_day, 2);
    use(&records.items[2], plan_and_more, 3);
    use(&records.items[3], plan_of_day, 2);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    use(&records.items[3], plan_and_more, 3);
    use(&records.items[4], plan_of_day, 2);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
}

static void one_required_check_decides(void **state)
{
    (void)state;
    const enum lw_acceptance_verdict expected[] = {
        [LW_PASS] = LW_ACCEPTED,        [LW_ATTENTION] = LW_ACCEPTED_WITH_REMARKS,
        [LW_UNDECIDED] = LW_INCOMPLETE, [LW_NOT_TESTED] = LW_INCOMPLETE,
        [LW_FAIL] = LW_NOT_ACCEPTED,
    };
    for (int verdict = LW_PASS; verdict <= LW_FAIL; verdict++) {
        struct records records = all_five((enum lw_verdict)verdict);
        assert_int_equal(judged(&records).verdict, expected[verdict]);
    }
}

static void a_check_beyond_the_required_ones_can_only_add_remarks_or_fail(void **state)
{
    (void)state;
    const enum lw_acceptance_verdict expected[] = {
        [LW_PASS] = LW_ACCEPTED,
        [LW_ATTENTION] = LW_ACCEPTED_WITH_REMARKS,
        [LW_UNDECIDED] = LW_ACCEPTED_WITH_REMARKS,
        [LW_NOT_TESTED] = LW_ACCEPTED_WITH_REMARKS,
        [LW_FAIL] = LW_NOT_ACCEPTED,
    };
    for (int verdict = LW_PASS; verdict <= LW_FAIL; verdict++) {
        struct records records = all_five(LW_PASS);
        add(&records, "restart", (enum lw_verdict)verdict);
        assert_int_equal(judged(&records).verdict, expected[verdict]);
    }
}

static void no_records_are_incomplete(void **state)
{
    (void)state;
    struct records records = {0};
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    assert_int_equal(acceptance.because_count, 5);
    assert_string_equal(acceptance.because[0], "scan: not done");
}

static void a_failure_outweighs_what_is_not_done(void **state)
{
    (void)state;
    struct records records = {0};
    add(&records, "link", LW_FAIL);
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_NOT_ACCEPTED);
    assert_string_equal(acceptance.because[0], "link: fail");
}

static void the_last_complete_record_of_a_check_counts(void **state)
{
    (void)state;
    struct records records = all_five(LW_FAIL);
    add(&records, "noise", LW_PASS);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    add(&records, "noise", LW_FAIL)->complete = false; // an interrupted run takes nothing back
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    add(&records, "noise", LW_FAIL);
    assert_int_equal(judged(&records).verdict, LW_NOT_ACCEPTED);
}

static void an_interrupted_check_is_not_done(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    records.items[4].complete = false;
    assert_int_equal(judged(&records).verdict, LW_INCOMPLETE);
}

static void a_check_left_out_on_purpose_is_not_done(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    records.items[4].skipped = (char *)(uintptr_t) "drives cannot be stopped today";
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    assert_string_equal(acceptance.because[0], "noise: left out on purpose");
    assert_string_equal(acceptance.checks[4].skipped, "drives cannot be stopped today");
}

static struct lw_record *add_part(struct records *records, const char *check,
                                  enum lw_verdict verdict)
{
    struct lw_record *record = add(records, check, verdict);
    record->part = (char *)(uintptr_t) "P07";
    return record;
}

static void a_part_of_the_chain_proves_nothing_of_the_rest(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    records.items[4].part = (char *)(uintptr_t) "P01-P04";
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    assert_string_equal(acceptance.because[0], "noise: only a part of the chain was asked");
    assert_true(acceptance.checks[4].partial && !acceptance.checks[4].done);
    records.items[4].verdict = LW_FAIL;
    acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_NOT_ACCEPTED);
    assert_string_equal(acceptance.because[0], "noise: fail");
    add(&records, "noise", LW_PASS); // of the whole
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
}

static void a_part_can_only_make_worse_what_the_whole_has_shown(void **state)
{
    (void)state;
    struct records records = all_five(LW_FAIL);
    add_part(&records, "noise", LW_PASS);
    assert_int_equal(judged(&records).verdict, LW_NOT_ACCEPTED);
    records = all_five(LW_PASS);
    add_part(&records, "noise", LW_PASS);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    add_part(&records, "noise", LW_FAIL);
    add_part(&records, "noise", LW_PASS);
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_NOT_ACCEPTED);
    assert_int_equal(acceptance.checks[4].number, 7);
}

static void a_part_does_not_hide_a_failure_in_its_state_of_the_machine(void **state)
{
    (void)state;
    struct records records = all_five(LW_FAIL);
    records.items[4].state = (char *)(uintptr_t) "drives on";
    add(&records, "noise", LW_PASS)->state = (char *)(uintptr_t) "drives off";
    add_part(&records, "noise", LW_PASS)->state = (char *)(uintptr_t) "drives on";
    assert_int_equal(judged(&records).verdict, LW_NOT_ACCEPTED);
}

static void notes_and_reports_judge_nothing(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    add(&records, "note", LW_FAIL);
    add(&records, "report", LW_NOT_TESTED);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
}

static void an_open_point_is_a_remark(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    struct lw_record *note = add(&records, "note", LW_ATTENTION);
    assert_non_null(lw_findings_add(&note->findings, "note_open_point", LW_ATTENTION, "loose"));
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_ACCEPTED_WITH_REMARKS);
    assert_string_equal(acceptance.because[0], "notes: 1 open");
    lw_findings_free(&note->findings);
}

static void a_pass_with_drives_off_does_not_undo_a_failure_with_drives_on(void **state)
{
    (void)state;
    struct records records = all_five(LW_FAIL);
    records.items[4].state = (char *)(uintptr_t) "drives on";
    add(&records, "noise", LW_PASS)->state = (char *)(uintptr_t) "drives off";
    assert_int_equal(judged(&records).verdict, LW_NOT_ACCEPTED);
    add(&records, "noise", LW_PASS)->state = (char *)(uintptr_t) "drives on";
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
}

static void one_simulated_record_marks_the_whole(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    assert_false(judged(&records).simulated);
    records.line.simulated = true;
    records.items[2].line = &records.line;
    assert_true(judged(&records).simulated);
}

static void the_states_of_the_machine_under_which_noise_and_link_ran_are_kept(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    records.items[0].state = (char *)(uintptr_t) "doors open"; // a scan proves nothing of a state
    records.items[2].state = (char *)(uintptr_t) "drives on";
    records.items[4].state = (char *)(uintptr_t) "drives on";
    assert_string_equal(judged(&records).states, "drives on");
    records.items[4].state = (char *)(uintptr_t) "drives off";
    assert_string_equal(judged(&records).states, "drives on; drives off");
}

static void a_state_is_not_lost_in_a_longer_one(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    records.items[2].state = (char *)(uintptr_t) "drives on, welding near";
    records.items[4].state = (char *)(uintptr_t) "drives on";
    assert_string_equal(judged(&records).states, "drives on, welding near; drives on");
}

static void the_plan_says_what_is_required(void **state)
{
    (void)state;
    char *names[] = {(char *)(uintptr_t) "scan", (char *)(uintptr_t) "restart"};
    struct lw_plan plan = {.required_checks = {.items = names, .count = 2}};
    struct records records = {0};
    struct lw_acceptance acceptance;
    add(&records, "scan", LW_PASS);
    lw_acceptance_judge(&plan, &records.list, 0, &acceptance);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    add(&records, "restart", LW_PASS);
    lw_acceptance_judge(&plan, &records.list, 0, &acceptance);
    assert_int_equal(acceptance.verdict, LW_ACCEPTED);
}

static void records_that_do_not_fit_together_are_never_accepted(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    struct lw_acceptance acceptance;
    records.list.items = records.items;
    lw_acceptance_judge(NULL, &records.list, 3, &acceptance);
    assert_int_equal(acceptance.verdict, LW_INCOMPLETE);
    assert_non_null(strstr(acceptance.because[0], "from record 3 on"));
    records.items[4].verdict = LW_FAIL;
    lw_acceptance_judge(NULL, &records.list, 3, &acceptance);
    assert_int_equal(acceptance.verdict, LW_NOT_ACCEPTED);
}

static void signatures_and_signed_papers_judge_nothing(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    add(&records, "signature", LW_PASS);
    add(&records, "paper", LW_PASS);
    struct lw_acceptance acceptance = judged(&records);
    assert_int_equal(acceptance.verdict, LW_ACCEPTED);
    assert_int_equal(acceptance.check_count, 5);
}

static void a_roster_from_before_an_address_was_written_counts_no_more(void **state)
{
    (void)state;
    static char wrote[] =
        "{\"nodes\": [{\"tap\": 3, \"node\": \"P03\", \"state\": \"assigned\", \"writes\": "
        "[{\"what\": \"address\", \"to_address\": 247, \"function\": 6, \"register\": 200, "
        "\"value\": 3, \"before\": null, \"outcome\": \"answered\"}]}]}";
    static char left[] = "{\"nodes\": [{\"tap\": 3, \"node\": \"P03\", \"state\": \"left\"}]}";
    struct records records = all_five(LW_PASS);
    add(&records, "assign", LW_PASS)->result = left;
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
    add(&records, "assign", LW_PASS)->result = wrote;
    assert_int_equal(judged(&records).verdict, LW_INCOMPLETE);
    add(&records, "scan", LW_PASS);
    assert_int_equal(judged(&records).verdict, LW_INCOMPLETE);
    add(&records, "roster", LW_PASS);
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED);
}

static void an_assignment_that_was_cut_short_is_not_hidden_by_an_earlier_one(void **state)
{
    (void)state;
    struct records records = all_five(LW_PASS);
    add(&records, "assign", LW_PASS);
    add(&records, "assign", LW_UNDECIDED)->complete = false;
    assert_int_equal(judged(&records).verdict, LW_ACCEPTED_WITH_REMARKS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_roster_from_before_an_address_was_written_counts_no_more),
        cmocka_unit_test(an_assignment_that_was_cut_short_is_not_hidden_by_an_earlier_one),
        cmocka_unit_test(one_required_check_decides),
        cmocka_unit_test(what_was_judged_by_another_plan_counts_no_more),
        cmocka_unit_test(a_plan_less_or_a_file_more_is_no_other_plan),
        cmocka_unit_test(a_check_beyond_the_required_ones_can_only_add_remarks_or_fail),
        cmocka_unit_test(no_records_are_incomplete),
        cmocka_unit_test(a_failure_outweighs_what_is_not_done),
        cmocka_unit_test(the_last_complete_record_of_a_check_counts),
        cmocka_unit_test(an_interrupted_check_is_not_done),
        cmocka_unit_test(a_check_left_out_on_purpose_is_not_done),
        cmocka_unit_test(a_part_of_the_chain_proves_nothing_of_the_rest),
        cmocka_unit_test(a_part_can_only_make_worse_what_the_whole_has_shown),
        cmocka_unit_test(a_part_does_not_hide_a_failure_in_its_state_of_the_machine),
        cmocka_unit_test(notes_and_reports_judge_nothing),
        cmocka_unit_test(an_open_point_is_a_remark),
        cmocka_unit_test(a_pass_with_drives_off_does_not_undo_a_failure_with_drives_on),
        cmocka_unit_test(one_simulated_record_marks_the_whole),
        cmocka_unit_test(the_states_of_the_machine_under_which_noise_and_link_ran_are_kept),
        cmocka_unit_test(a_state_is_not_lost_in_a_longer_one),
        cmocka_unit_test(the_plan_says_what_is_required),
        cmocka_unit_test(records_that_do_not_fit_together_are_never_accepted),
        cmocka_unit_test(signatures_and_signed_papers_judge_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
