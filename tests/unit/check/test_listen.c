// SPDX-License-Identifier: GPL-3.0-or-later
//
// Who asks whom, and a controller held against its plan: on exchanges written by hand, and on
// virtual chains with a controller of their own.
#include "polling.h"
#include "walk.h"

#include "check/delays.h"
#include "check/listen.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

// A controller on paper: rounds over the probes of a cell of four, reading registers 0 and 1.
struct paper {
    struct walk walk;
    struct lw_listen_fold *fold;
    struct lw_listen_result result;
    double now_ms;
    int rounds;
};

static void open_paper(struct paper *paper, const char *more)
{
    struct lw_error error = {0};
    *paper = (struct paper){0};
    walk_open_cell(&paper->walk, &(struct cell){.probes = 4, .more = more}, 1);
    assert_int_equal(lw_listen_fold_new(&paper->walk.plan, &paper->fold, &error), LW_OK);
}

static void poll(struct paper *paper, struct poll poll)
{
    poll.at_ms = paper->now_ms;
    const struct lw_exchange exchange = polling_exchange(&poll);
    lw_listen_fold_exchange(paper->fold, &exchange);
    paper->now_ms += poll.outcome == LW_NO_ANSWER ? 4.58 + 100 : 25;
}

// Sets the clock to the next round of 500 ms.
static void next_round(struct paper *paper)
{
    paper->now_ms = ++paper->rounds * 500.0;
}

static void poll_reading(struct paper *paper, int address, float value, double reply_ms)
{
    uint16_t words[2];
    polling_float(value, words);
    poll(paper,
         (struct poll){
             .address = address, .function = 4, .count = 2, .words = words, .reply_ms = reply_ms});
}

static float wandering(int round, int address)
{
    return 5.0F + (float)address / 10 + (float)(round * 7 % 11) / 10000;
}

static void poll_round(struct paper *paper, int first, int last)
{
    for (int address = first; address <= last; address++) {
        poll_reading(paper, address, wandering(paper->rounds, address), 3);
    }
    next_round(paper);
}

static void judge(struct paper *paper)
{
    struct lw_error error = {0};
    assert_int_equal(
        lw_listen_fold_result(paper->fold, paper->now_ms / 1e3, &paper->result, &error), LW_OK);
    for (size_t i = 0; i < paper->result.nodes.count; i++) {
        const struct lw_listen_node *nodes = paper->result.nodes.items;
        paper->result.exchanges += nodes[i].requests;
    }
    walk_comes_back(&lw_listen_shape, &paper->result);
    lw_listen_findings(&paper->walk.plan, &paper->result, &paper->walk.findings);
}

static void close_paper(struct paper *paper)
{
    lw_json_free(&lw_listen_shape, &paper->result);
    lw_listen_fold_free(paper->fold);
    walk_close(&paper->walk);
}

static const char patient[] = "\"controller\": {\"timeout_ms\": 200, \"cycle_ms\": 500},";

static void delays_have_quantiles_to_a_hundredth(void **state)
{
    (void)state;
    struct lw_delays *a = calloc(1, sizeof *a), *b = calloc(1, sizeof *b);
    assert_true(a && b);
    for (int i = 1; i <= 500; i++) {
        lw_delays_add(a, i / 10.0);
        lw_delays_add(b, 50 + i / 10.0);
    }
    lw_delays_join(a, b);
    assert_true(a->total == 1000 && a->largest_ms == 100);
    assert_true(fabs(lw_delays_quantile(a, 0.5) / 50 - 1) < 0.011);
    assert_true(fabs(lw_delays_quantile(a, 0.95) / 95 - 1) < 0.011);
    assert_true(isnan(lw_delays_quantile(NULL, 0.5)));
    free(a);
    free(b);
}

static void each_request_has_a_row_with_its_rhythm(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 20; i++) {
        poll_round(&paper, 1, 4);
    }
    judge(&paper);
    const struct lw_listen_read *reads = paper.result.reads.items;
    assert_int_equal(paper.result.reads.count, 4);
    for (int i = 0; i < 4; i++) {
        assert_int_equal(reads[i].address, i + 1);
        assert_int_equal(reads[i].function, 4);
        assert_int_equal(reads[i].start, 0);
        assert_int_equal(reads[i].count, 2);
        assert_true(reads[i].requests == 20 && reads[i].replies == 20);
        assert_true(fabs(reads[i].period_ms.p50 - 500) < 5.5);
        assert_true(fabs(reads[i].reply_ms.max - 3) < 1e-6);
        assert_true(reads[i].decoded == 20 && reads[i].in_range == 20);
    }
    assert_string_equal(reads[2].node, "P03");
    assert_int_equal(walk_count(&paper.walk, NULL), 0);
    close_paper(&paper);
}

static void more_requests_than_rows_are_counted(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, NULL);
    for (int i = 0; i < LW_LISTEN_READS + 100; i++) {
        poll(&paper, (struct poll){.address = 9, .function = 3, .start = i, .count = 1});
    }
    judge(&paper);
    assert_int_equal(paper.result.reads.count, LW_LISTEN_READS);
    assert_true(paper.result.more_requests == 100);
    close_paper(&paper);
}

static void a_node_that_is_never_asked_fails_when_heard_long_enough(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    poll_round(&paper, 1, 3);
    judge(&paper);
    const struct lw_finding *finding = walk_found(&paper.walk, "listen_not_polled", "P04");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_UNDECIDED);
    lw_json_free(&lw_listen_shape, &paper.result);
    walk_forget(&paper.walk);
    for (int i = 0; i < 4; i++) {
        poll_round(&paper, 1, 3);
    }
    judge(&paper);
    finding = walk_found(&paper.walk, "listen_not_polled", "P04");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_FAIL);
    assert_int_equal(walk_count(&paper.walk, NULL), 1);
    close_paper(&paper);
}

static void a_stranger_in_the_controllers_list_is_named(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 5; i++) {
        poll(&paper,
             (struct poll){.address = 77, .function = 4, .count = 2, .outcome = LW_NO_ANSWER});
        poll_round(&paper, 1, 4);
    }
    judge(&paper);
    const struct lw_finding *finding = walk_found(&paper.walk, "listen_unplanned", NULL);
    assert_non_null(finding);
    assert_int_equal(finding->address, 77);
    // the silent stranger also shows how long the controller waits
    assert_true(fabs(paper.result.timeout_ms - 100) < 0.1);
    close_paper(&paper);
}

static void asking_from_one_register_off_is_the_wrong_length_or_register(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 5; i++) {
        poll(&paper, (struct poll){.address = 1, .function = 4, .start = 1, .count = 2});
        poll(&paper, (struct poll){.address = 2, .function = 4, .start = 0, .count = 1});
        poll(&paper, (struct poll){.address = 3, .function = 3, .start = 0, .count = 2});
        poll(&paper, (struct poll){.address = 4, .function = 4, .start = 0, .count = 5});
        next_round(&paper);
    }
    judge(&paper);
    assert_int_equal(walk_found(&paper.walk, "listen_length", "P01")->severity, LW_FAIL);
    assert_int_equal(walk_found(&paper.walk, "listen_length", "P02")->severity, LW_FAIL);
    assert_int_equal(walk_found(&paper.walk, "listen_register", "P03")->severity, LW_FAIL);
    assert_null(walk_found(&paper.walk, "listen_length", "P04"));
    assert_null(walk_found(&paper.walk, "listen_register", "P04"));
    close_paper(&paper);
}

static void planned_reads_are_held_to_their_length(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, "\"controller\": {\"timeout_ms\": 200, \"reads\": [{\"nodes\": \"P01-P04\", "
                       "\"function\": 4, \"register\": 0, \"count\": 2}]},");
    for (int i = 0; i < 5; i++) {
        poll_reading(&paper, 1, wandering(i, 1), 3);
        poll(&paper, (struct poll){.address = 2, .function = 4, .start = 0, .count = 5});
        poll(&paper, (struct poll){.address = 3, .function = 4, .start = 0, .count = 1});
        poll(&paper, (struct poll){.address = 4, .function = 4, .start = 8, .count = 2});
        next_round(&paper);
    }
    judge(&paper);
    assert_null(walk_found(&paper.walk, "listen_length", "P01"));
    assert_int_equal(walk_found(&paper.walk, "listen_length", "P02")->severity, LW_ATTENTION);
    assert_int_equal(walk_found(&paper.walk, "listen_length", "P03")->severity, LW_FAIL);
    assert_int_equal(walk_found(&paper.walk, "listen_register", "P04")->severity, LW_FAIL);
    close_paper(&paper);
}

static void a_controller_set_to_the_other_word_order_fails(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, "\"controller\": {\"timeout_ms\": 200, \"reads\": [{\"nodes\": \"P01-P04\", "
                       "\"function\": 4, \"register\": 0, \"count\": 2, \"word_order\": "
                       "\"low_first\"}]},");
    for (int i = 0; i < 5; i++) {
        poll_round(&paper, 1, 4);
    }
    judge(&paper);
    assert_int_equal(walk_count(&paper.walk, "listen_word_order"), 4);
    assert_int_equal(walk_count(&paper.walk, NULL), 4);
    close_paper(&paper);
}

static void a_node_that_sends_its_words_swapped_is_seen_in_its_readings(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 20; i++) {
        uint16_t words[2];
        polling_float(wandering(i, 2), words);
        const uint16_t swapped[2] = {words[1], words[0]};
        poll_reading(&paper, 1, wandering(i, 1), 3);
        poll(&paper, (struct poll){
                         .address = 2, .function = 4, .count = 2, .words = swapped, .reply_ms = 3});
        poll_reading(&paper, 3, wandering(i, 3), 3);
        poll_reading(&paper, 4, wandering(i, 4), 3);
        next_round(&paper);
    }
    judge(&paper);
    assert_non_null(walk_found(&paper.walk, "listen_word_order", "P02"));
    assert_int_equal(walk_count(&paper.walk, NULL), 1);
    close_paper(&paper);
}

static void a_time_out_below_the_slowest_answer_fails(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, "\"controller\": {\"timeout_ms\": 50},");
    for (int i = 0; i < 10; i++) {
        poll_reading(&paper, 1, wandering(i, 1), 3);
        poll_reading(&paper, 2, wandering(i, 2), 3);
        poll_reading(&paper, 3, wandering(i, 3), i == 7 ? 61 : 3);
        poll_reading(&paper, 4, wandering(i, 4), 3);
        next_round(&paper);
    }
    judge(&paper);
    const struct lw_finding *finding = walk_found(&paper.walk, "listen_timeout", "P03");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_FAIL);
    assert_true(finding->value == 50 && fabs(finding->limit - 61) < 1e-6);
    close_paper(&paper);
}

static void an_unknown_time_out_is_not_tested(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, NULL);
    for (int i = 0; i < 10; i++) {
        poll_round(&paper, 1, 4);
    }
    judge(&paper);
    assert_int_equal(walk_found(&paper.walk, "listen_timeout", NULL)->severity, LW_NOT_TESTED);
    assert_int_equal(walk_count(&paper.walk, NULL), 1);
    close_paper(&paper);
}

static void a_reading_that_never_changes_is_named(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 40; i++) {
        poll_reading(&paper, 1, wandering(i, 1), 3);
        poll_reading(&paper, 2, i < 10 ? wandering(i, 2) : 5.25F, 3);
        poll_reading(&paper, 3, wandering(i, 3), 3);
        poll_reading(&paper, 4, wandering(i, 4), 3);
        next_round(&paper);
    }
    judge(&paper);
    assert_non_null(walk_found(&paper.walk, "listen_unchanged", "P02"));
    assert_int_equal(walk_count(&paper.walk, NULL), 1);
    const struct lw_listen_read *reads = paper.result.reads.items;
    assert_true(reads[1].longest_repeat == 30);
    close_paper(&paper);
}

static void refusals_and_silences_are_told_apart(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    for (int i = 0; i < 10; i++) {
        poll(&paper, (struct poll){.address = 1,
                                   .function = 4,
                                   .count = 2,
                                   .outcome = LW_EXCEPTION,
                                   .exception = 2,
                                   .reply_ms = 2});
        poll(&paper,
             (struct poll){.address = 2, .function = 4, .count = 2, .outcome = LW_NO_ANSWER});
        poll_reading(&paper, 3, wandering(i, 3), 3);
        if (i == 4) {
            poll(&paper,
                 (struct poll){.address = 4, .function = 4, .count = 2, .outcome = LW_CRC_ERROR});
        }
        poll_reading(&paper, 4, wandering(i, 4), 3);
        next_round(&paper);
    }
    judge(&paper);
    assert_int_equal(walk_found(&paper.walk, "listen_exceptions", "P01")->severity, LW_FAIL);
    assert_int_equal(walk_found(&paper.walk, "listen_unanswered", "P02")->severity, LW_FAIL);
    assert_int_equal(walk_found(&paper.walk, "listen_unanswered", "P04")->severity, LW_ATTENTION);
    assert_null(walk_found(&paper.walk, "listen_unanswered", "P01"));
    close_paper(&paper);
}

static void nothing_heard_is_not_tested(void **state)
{
    (void)state;
    struct paper paper;
    open_paper(&paper, patient);
    judge(&paper);
    assert_int_equal(walk_count(&paper.walk, NULL), 1);
    assert_int_equal(walk_found(&paper.walk, "listen_nothing", NULL)->severity, LW_NOT_TESTED);
    close_paper(&paper);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(delays_have_quantiles_to_a_hundredth),
        cmocka_unit_test(each_request_has_a_row_with_its_rhythm),
        cmocka_unit_test(more_requests_than_rows_are_counted),
        cmocka_unit_test(a_node_that_is_never_asked_fails_when_heard_long_enough),
        cmocka_unit_test(a_stranger_in_the_controllers_list_is_named),
        cmocka_unit_test(asking_from_one_register_off_is_the_wrong_length_or_register),
        cmocka_unit_test(planned_reads_are_held_to_their_length),
        cmocka_unit_test(a_controller_set_to_the_other_word_order_fails),
        cmocka_unit_test(a_node_that_sends_its_words_swapped_is_seen_in_its_readings),
        cmocka_unit_test(a_time_out_below_the_slowest_answer_fails),
        cmocka_unit_test(an_unknown_time_out_is_not_tested),
        cmocka_unit_test(a_reading_that_never_changes_is_named),
        cmocka_unit_test(refusals_and_silences_are_told_apart),
        cmocka_unit_test(nothing_heard_is_not_tested),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
