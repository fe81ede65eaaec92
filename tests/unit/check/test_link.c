// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of a line, fed with exchanges made by hand, and with polls on a virtual chain.
#include "check/link_judge.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { NODES = 4 };

// One exchange every 20 ms, round about four nodes.
static struct lw_exchange exchange_at(size_t poll, enum lw_outcome outcome, double reply_ms)
{
    int64_t sent_ns = (int64_t)poll * 20000000;
    struct lw_exchange exchange = {
        .address = (uint8_t)(1 + poll % NODES),
        .request = {5, {4, 0, 0, 0, 2}},
        .reply = {6, {4, 4, 0, 0, 0, 0}},
        .sent_first_ns = sent_ns,
        .sent_last_ns = sent_ns + 4000000,
        .reply_first_ns = sent_ns + 4000000 + (int64_t)(reply_ms * 1e6),
        .reply_last_ns = sent_ns + 9000000 + (int64_t)(reply_ms * 1e6),
        .outcome = outcome,
    };
    if (outcome == LW_NO_ANSWER) {
        exchange.reply = (struct lw_pdu){0};
        exchange.reply_first_ns = exchange.reply_last_ns = -1;
    }
    return exchange;
}

struct judged {
    struct lw_link_judge *judge;
    struct lw_link_result result;
    struct walk walk; // only its findings are used
};

static void begin(struct judged *judged, const struct lw_plan *plan)
{
    *judged = (struct judged){0};
    assert_int_equal(lw_link_judge_new(plan, &judged->judge, NULL), LW_OK);
}

static void take(struct judged *judged, size_t poll, enum lw_outcome outcome)
{
    struct lw_exchange exchange = exchange_at(poll, outcome, 3);
    lw_link_judge_take(judged->judge, &exchange);
}

static void finish(struct judged *judged, const struct lw_plan *plan)
{
    assert_int_equal(lw_link_judge_result(judged->judge, &judged->result, NULL), LW_OK);
    lw_link_findings(plan, &judged->result, &judged->walk.rule, &judged->walk.findings);
    walk_comes_back(&lw_link_shape, &judged->result);
}

static void end(struct judged *judged)
{
    lw_link_judge_free(judged->judge);
    lw_json_free(&lw_link_shape, &judged->result);
    lw_findings_free(&judged->walk.findings);
}

static void no_error_in_enough_polls_proves_the_limit(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 2996; i++) { // ln(0.05) / ln(1 - 1e-3) = 2994.2
        take(&judged, i, LW_ANSWERED);
    }
    assert_true(lw_link_judge_decided(judged.judge));
    finish(&judged, NULL);
    assert_int_equal(judged.result.line.verdict, LW_PASS);
    assert_true(judged.result.line.upper95 < 1e-3);
    assert_int_equal(walk_count(&judged.walk, NULL), 0);
    end(&judged);
}

static void no_error_in_few_polls_is_undecided(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 500; i++) {
        take(&judged, i, LW_ANSWERED);
    }
    assert_false(lw_link_judge_decided(judged.judge));
    finish(&judged, NULL);
    const struct lw_finding *finding = walk_found(&judged.walk, "link_error_rate", NULL);
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_UNDECIDED);
    assert_true(judged.result.line.n_to_decide > 2900 && judged.result.line.n_to_decide < 3100);
    end(&judged);
}

static void many_single_errors_break_the_limit(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 4000; i++) {
        take(&judged, i, i % 101 == 100 ? LW_CRC_ERROR : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_int_equal(judged.result.line.verdict, LW_FAIL);
    assert_int_equal((int)judged.result.line.errors, 39);
    assert_int_equal((int)judged.result.line.bursts, 0);
    assert_null(walk_found(&judged.walk, "link_node_differs", NULL));
    end(&judged);
}

static void errors_within_a_second_are_one_event(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 4000; i++) {
        take(&judged, i, i >= 2000 && i < 2012 ? LW_NO_ANSWER : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_int_equal((int)judged.result.line.errors, 12);
    assert_int_equal((int)judged.result.line.events, 1);
    assert_int_equal((int)judged.result.line.bursts, 1);
    assert_int_equal((int)judged.result.line.worst_second, 12);
    // 12 of 4000 as independent errors would break 1e-3; as one event they don't.
    assert_int_equal(judged.result.line.verdict, LW_UNDECIDED);
    assert_non_null(walk_found(&judged.walk, "link_bursts", NULL));
    end(&judged);
}

static void a_silent_node_is_no_error_of_the_line(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 4400; i++) {
        take(&judged, i, i % NODES == 2 ? LW_NO_ANSWER : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_int_equal((int)judged.result.line.errors, 0);
    assert_int_equal((int)judged.result.line.bursts, 0);
    assert_int_equal(judged.result.line.verdict, LW_PASS);
    assert_int_equal(walk_count(&judged.walk, "link_silent"), 1);
    assert_int_equal(walk_found(&judged.walk, "link_silent", NULL)->address, 3);
    end(&judged);
}

static void where_nobody_answers_no_round_is_called_slow(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 2,
                                  .faults = "{\"kind\": \"dead_node\", \"tap\": 1},"
                                            "{\"kind\": \"dead_node\", \"tap\": 2}"},
                   1);
    walk.plan.line.wanted_cycle_ms = 1;
    walk_link(&walk, &(struct lw_link_options){.seconds = 2}, NULL);
    assert_non_null(walk_found(&walk, "line_silent_all", "P01"));
    assert_null(walk_found(&walk, "link_cycle", NULL));
    walk_close(&walk);
}

// Its silences are not in the line's sum, so they cannot be taken out of it either.
static void a_silent_node_is_not_held_against_the_others(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 4400; i++) {
        bool error = i / NODES % 2 == 0;
        take(&judged, i, i % NODES == 2 ? LW_NO_ANSWER : error ? LW_CRC_ERROR : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_true(judged.result.line.errors > 4400.0 / NODES);
    assert_int_equal(walk_count(&judged.walk, "link_silent"), 1);
    const struct lw_finding *all = judged.walk.findings.list.items;
    for (size_t i = 0; i < judged.walk.findings.list.count; i++) {
        assert_true(all[i].address != 3 || strcmp(all[i].code, "link_silent") == 0);
    }
    end(&judged);
}

static void a_node_with_most_of_the_errors_stands_out(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 4000; i++) {
        bool error = i % NODES == 1 && i % 100 == 1;
        take(&judged, i, error ? LW_CRC_ERROR : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_int_equal(walk_count(&judged.walk, "link_node_differs"), 1);
    assert_int_equal(walk_found(&judged.walk, "link_node_differs", NULL)->address, 2);
    end(&judged);
}

static void exceptions_are_answers_and_are_said(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 3200; i++) {
        take(&judged, i, i % 400 == 0 ? LW_EXCEPTION : LW_ANSWERED);
    }
    finish(&judged, NULL);
    assert_int_equal(judged.result.line.verdict, LW_PASS);
    assert_int_equal(walk_found(&judged.walk, "link_exceptions", NULL)->address, 1);
    end(&judged);
}

static void reply_times_are_known_to_two_percent(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    for (size_t i = 0; i < 1000; i++) {
        struct lw_exchange exchange = exchange_at(0, LW_ANSWERED, 1 + 0.009 * (double)i);
        lw_link_judge_take(judged.judge, &exchange);
    }
    finish(&judged, NULL);
    const struct lw_link_node *node = judged.result.nodes.items;
    assert_true(fabs(node->reply_ms.p50 / 5.5 - 1) < 0.02);
    assert_true(fabs(node->reply_ms.p95 / 9.55 - 1) < 0.02);
    assert_true(fabs(node->reply_ms.max - 9.991) < 1e-6);
    end(&judged);
}

// 20 ms apart, each node's answers evenly from `from_ms` on over `spread_ms`, with an adapter that
// may keep them for 16 ms.
static void poll_spread(struct judged *judged, size_t polls, double from_ms, double spread_ms)
{
    for (size_t i = 0; i < polls; i++) {
        double share = (double)(i / NODES) / (double)(polls / NODES);
        double wide = i % NODES == 1 ? 1 : 3; // the second node is the steadiest
        struct lw_exchange exchange =
            exchange_at(i, LW_ANSWERED, from_ms + wide * spread_ms * share);
        exchange.timing_u_ns = 9237604; // 16 ms / sqrt(3)
        lw_link_judge_take(judged->judge, &exchange);
    }
}

static void the_steadiest_node_bounds_what_the_adapter_adds(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    poll_spread(&judged, NODES * 100, 10, 4);
    finish(&judged, NULL);
    assert_true(fabs(judged.result.late_ms - 16) < 1e-6);
    assert_true(fabs(judged.result.spread_ms - 0.95 * 4) < 0.02 * 14);
    end(&judged);
}

static void few_answers_tell_no_spread(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    poll_spread(&judged, NODES * 19, 10, 4);
    finish(&judged, NULL);
    assert_true(isnan(judged.result.spread_ms));
    end(&judged);
}

static void what_the_adapter_may_have_kept_is_no_proof_against_a_node(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 4, .more = "\"limits\": {\"reply_ms\": 10},"},
                   9);
    const double from_ms[] = {20, 27};
    const enum lw_verdict severity[] = {LW_UNDECIDED, LW_FAIL};
    for (size_t i = 0; i < 2; i++) {
        struct judged judged;
        begin(&judged, &walk.plan);
        poll_spread(&judged, NODES * 100, from_ms[i], 0);
        finish(&judged, &walk.plan);
        const struct lw_finding *slow = walk_found(&judged.walk, "link_reply_slow", "P02");
        assert_non_null(slow);
        assert_int_equal(slow->severity, severity[i]);
        end(&judged);
    }
    walk_close(&walk);
}

static void nobody_to_poll_is_not_tested(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged, NULL);
    finish(&judged, NULL);
    assert_int_equal(walk_found(&judged.walk, "link_no_data", NULL)->severity, LW_NOT_TESTED);
    end(&judged);
}

static void a_quiet_chain_passes_and_stops_when_it_is_proved(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_link_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 6, .loops = 2}, 9);
    walk_link(&walk, NULL, &result);
    assert_int_equal(result.line.verdict, LW_PASS);
    assert_true(result.line.polls >= 2996 && result.line.polls < 3010);
    assert_true(result.cycle_ms >= 0.97 * result.wire_cycle_ms);
    assert_int_equal(walk_count(&walk, NULL), 0);
    lw_json_free(&lw_link_shape, &result);
    walk_close(&walk);
}

static void a_noisy_line_fails_by_all_its_nodes(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_link_result result;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 6,
                                  .faults = "{\"kind\": \"noisy_span\", \"span\": 2, "
                                            "\"bit_error_rate\": 0.0001}"},
                   9);
    walk_link(&walk, &(struct lw_link_options){.seconds = 60}, &result);
    // 19 to 20 characters of 11 bits an exchange: 2 % of them are hit.
    assert_true(result.line.error_rate > 0.01 && result.line.error_rate < 0.03);
    assert_int_equal(walk_found(&walk, "link_error_rate", NULL)->severity, LW_FAIL);
    lw_json_free(&lw_link_shape, &result);
    walk_close(&walk);
}

static void a_slow_node_and_a_long_round_are_held_to_the_plan(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .more = "\"limits\": {\"reply_ms\": 10},",
                                  .faults = "{\"kind\": \"late_replies\", \"tap\": 2, "
                                            "\"late_ms\": 12, \"share\": 1}"},
                   9);
    walk.plan.line.wanted_cycle_ms = 50;
    walk_link(&walk, &(struct lw_link_options){.seconds = 10}, NULL);
    assert_non_null(walk_found(&walk, "link_reply_slow", "P02"));
    assert_int_equal(walk_count(&walk, "link_reply_slow"), 1);
    assert_non_null(walk_found(&walk, "link_cycle", NULL));
    walk_close(&walk);
}

// The virtual wire's probes answer within 12 ms; with 200 more that is past twice their profile's.
static void a_reply_that_the_plan_allows_is_waited_for(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_link_result result;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .more = "\"limits\": {\"reply_ms\": 300},",
                                  .faults = "{\"kind\": \"late_replies\", \"tap\": 2, "
                                            "\"late_ms\": 200, \"share\": 1}"},
                   9);
    walk_link(&walk, &(struct lw_link_options){.seconds = 10}, &result);
    assert_true(result.line.polls > 100);
    assert_int_equal(result.line.errors, 0);
    assert_int_equal(walk_count(&walk, "link_reply_slow"), 0);
    lw_json_free(&lw_link_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_error_in_enough_polls_proves_the_limit),
        cmocka_unit_test(no_error_in_few_polls_is_undecided),
        cmocka_unit_test(many_single_errors_break_the_limit),
        cmocka_unit_test(errors_within_a_second_are_one_event),
        cmocka_unit_test(a_silent_node_is_no_error_of_the_line),
        cmocka_unit_test(a_silent_node_is_not_held_against_the_others),
        cmocka_unit_test(where_nobody_answers_no_round_is_called_slow),
        cmocka_unit_test(a_node_with_most_of_the_errors_stands_out),
        cmocka_unit_test(exceptions_are_answers_and_are_said),
        cmocka_unit_test(reply_times_are_known_to_two_percent),
        cmocka_unit_test(the_steadiest_node_bounds_what_the_adapter_adds),
        cmocka_unit_test(few_answers_tell_no_spread),
        cmocka_unit_test(what_the_adapter_may_have_kept_is_no_proof_against_a_node),
        cmocka_unit_test(nobody_to_poll_is_not_tested),
        cmocka_unit_test(a_quiet_chain_passes_and_stops_when_it_is_proved),
        cmocka_unit_test(a_noisy_line_fails_by_all_its_nodes),
        cmocka_unit_test(a_slow_node_and_a_long_round_are_held_to_the_plan),
        cmocka_unit_test(a_reply_that_the_plan_allows_is_waited_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
