// SPDX-License-Identifier: GPL-3.0-or-later
//
// A recording made on one virtual chain is sent again to the same, and to changed ones: what
// changed is reported, and nothing else.
#include "check/resend.h"

#include "modbus/pdu.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

struct recording {
    struct lw_list exchanges; // of struct lw_exchange
};

static void keep(void *user, const struct lw_exchange *exchange)
{
    struct recording *recording = user;
    struct lw_exchange *kept = lw_list_add(&recording->exchanges, sizeof *kept);
    assert_non_null(kept);
    *kept = *exchange;
}

// A roster and half a minute of polling, as an engineer leaves them.
static void record(struct walk *walk, struct recording *recording)
{
    const struct lw_link_options options = {.seconds = 30};
    *recording = (struct recording){{0}};
    walk->run.user = recording;
    walk->run.exchange = keep;
    walk_roster(walk, NULL);
    walk_link(walk, &options, NULL);
    walk->run.exchange = NULL;
    walk_forget(walk);
}

static void add(struct recording *recording, uint8_t address, const uint8_t *request, size_t count)
{
    struct lw_exchange exchange = {.address = address,
                                   .outcome = LW_NO_ANSWER,
                                   .sent_first_ns = -1,
                                   .sent_last_ns = -1,
                                   .reply_first_ns = -1,
                                   .reply_last_ns = -1};
    exchange.request.count = count;
    memcpy(exchange.request.bytes, request, count);
    keep(recording, &exchange);
}

static void resend(struct walk *walk, const struct recording *recording,
                   const struct lw_resend_options *options, struct lw_resend_result *result)
{
    struct lw_error error = {0};
    enum lw_status status =
        lw_resend_measure(&walk->run, walk->client, &walk->plan, options,
                          recording->exchanges.items, recording->exchanges.count, result, &error);
    if (status != LW_OK) {
        fail_msg("%s", error.says);
    }
    lw_resend_findings(&walk->plan, options, result, &walk->findings);
    walk_comes_back(&lw_resend_shape, result);
}

static const struct lw_resend_options plain = {.tolerance = NAN};

static void the_same_chain_answers_the_same(void **state)
{
    (void)state;
    const struct cell cell = {.probes = 3, .loops = 1, .airs = 1, .encoders = 1};
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    walk_open_cell(&walk, &cell, 3);
    record(&walk, &recording);
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    assert_int_equal(walk_count(&walk, NULL), 0);
    assert_int_equal(result.sent, recording.exchanges.count);
    assert_int_equal(result.nodes.count, 6);
    assert_true(((const struct lw_resend_node *)result.nodes.items)->values > 20);
    lw_json_free(&lw_resend_shape, &result);
    free(recording.exchanges.items);
    walk_close(&walk);
}

// The recorded chain, then one that differs from it by `faults`.
static void record_then_change(struct walk *walk, struct recording *recording, const char *faults)
{
    struct cell cell = {.probes = 4};
    walk_open_cell(walk, &cell, 3);
    record(walk, recording);
    walk_close(walk);
    cell.faults = faults;
    walk_open_cell(walk, &cell, 3);
}

static void finish(struct walk *walk, struct recording *recording, struct lw_resend_result *result)
{
    lw_json_free(&lw_resend_shape, result);
    free(recording->exchanges.items);
    walk_close(walk);
}

static void a_node_that_fell_silent_is_the_only_finding(void **state)
{
    (void)state;
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    record_then_change(&walk, &recording, "{\"kind\": \"dead_node\", \"tap\": 3}");
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    assert_non_null(walk_found(&walk, "resend_silent", "P03"));
    assert_int_equal(walk_count(&walk, NULL), 1);
    finish(&walk, &recording, &result);
}

// Another module of the same kind: its serial is not that of the recording, nor is its date of
// calibration.
static void a_replaced_node_is_the_only_finding(void **state)
{
    (void)state;
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    record_then_change(&walk, &recording, NULL);
    lw_client_free(walk.client);
    lw_chain_free(walk.chain);
    struct lw_chain_entry *third = (struct lw_chain_entry *)walk.real.chain.items + 2;
    free(third->serial);
    third->serial = lw_duplicate("100773");
    walk_connect(&walk, 3);
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    const struct lw_finding *found = walk_found(&walk, "resend_identity_differs", "P03");
    assert_non_null(found);
    assert_string_equal(((char *const *)found->because.items)[0],
                        "serial was '100003', is '100773'");
    assert_int_equal(walk_count(&walk, NULL), 1);
    finish(&walk, &recording, &result);
}

static void late_replies_are_a_change_of_timing(void **state)
{
    (void)state;
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    record_then_change(&walk, &recording,
                       "{\"kind\": \"late_replies\", \"tap\": 2, \"late_ms\": 12, \"share\": 1}");
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    assert_non_null(walk_found(&walk, "resend_timing_differs", "P02"));
    assert_int_equal(walk_count(&walk, NULL), 1);
    finish(&walk, &recording, &result);
}

static void a_magnet_moves_the_reading_and_nothing_else(void **state)
{
    (void)state;
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    record_then_change(&walk, &recording,
                       "{\"kind\": \"magnet_near\", \"tap\": 4, \"field\": 0.0, \"steady\": 0.5, "
                       "\"reach_taps\": 0.1}");
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    const struct lw_finding *found = walk_found(&walk, "resend_reading_differs", "P04");
    assert_non_null(found);
    assert_int_equal(found->severity, LW_ATTENTION);
    assert_int_equal(walk_count(&walk, NULL), 1);
    finish(&walk, &recording, &result);
}

static void a_given_tolerance_is_a_limit(void **state)
{
    (void)state;
    const struct lw_resend_options tight = {.tolerance = 1e-9}, wide = {.tolerance = 0.01};
    const struct cell cell = {.probes = 4};
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    walk_open_cell(&walk, &cell, 3);
    record(&walk, &recording);
    resend(&walk, &recording, &tight, &result); // later on the same chain: other noise
    const struct lw_finding *found = walk_found(&walk, "resend_reading_differs", "P01");
    assert_non_null(found);
    assert_int_equal(found->severity, LW_FAIL);
    lw_json_free(&lw_resend_shape, &result);
    walk_forget(&walk);
    resend(&walk, &recording, &wide, &result);
    assert_int_equal(walk_count(&walk, NULL), 0);
    finish(&walk, &recording, &result);
}

static void a_noisy_span_is_more_errors_of_the_line(void **state)
{
    (void)state;
    struct walk walk;
    struct recording recording;
    struct lw_resend_result result;
    record_then_change(&walk, &recording,
                       "{\"kind\": \"noisy_span\", \"span\": 1, \"bit_error_rate\": 0.0005}");
    resend(&walk, &recording, &plain, &result);
    walk_show(&walk);
    assert_non_null(walk_found(&walk, "resend_more_errors", NULL));
    assert_true(result.errors_now > result.errors_then);
    finish(&walk, &recording, &result);
}

static void writes_are_left_out_and_counted(void **state)
{
    (void)state;
    static const uint8_t write[] = {0x06, 0x00, 0x10, 0x00, 0x01};
    static const uint8_t mask[] = {0x16, 0x00, 0x04, 0x00, 0xF2, 0x00, 0x25};
    static const uint8_t clear[] = {0x08, 0x00, 0x0A, 0x00, 0x00};
    static const uint8_t read[] = {0x04, 0x00, 0x00, 0x00, 0x02};
    const struct cell cell = {.probes = 2};
    struct walk walk;
    struct recording recording = {{0}};
    struct lw_resend_result result;
    walk_open_cell(&walk, &cell, 3);
    add(&recording, 1, write, sizeof write);
    add(&recording, 1, mask, sizeof mask);
    add(&recording, 2, clear, sizeof clear);
    add(&recording, 0, write, sizeof write);
    add(&recording, 1, read, sizeof read);
    resend(&walk, &recording, &plain, &result);
    assert_int_equal(result.sent, 1);
    assert_int_equal(result.writes_left_out, 1);
    assert_int_equal(result.forbidden, 3);
    assert_int_equal(result.writes_sent, 0);
    assert_non_null(walk_found(&walk, "resend_left_out", NULL));
    finish(&walk, &recording, &result);
}

// The decision for every kind of request, without a line.
static void allowed_writes_are_sent_but_never_broadcast(void **state)
{
    (void)state;
    const struct lw_resend_options allowing = {.tolerance = NAN, .allow_writes = true};
    struct lw_exchange exchange = {.address = 1, .request = {5, {0x06, 0, 0x10, 0, 1}}};
    assert_int_equal(lw_resend_fate(NULL, &allowing, &exchange), LW_RESEND_SENT);
    assert_int_equal(lw_resend_fate(NULL, &plain, &exchange), LW_RESEND_WRITE);
    exchange.address = 0;
    assert_int_equal(lw_resend_fate(NULL, &allowing, &exchange), LW_RESEND_FORBIDDEN);
    exchange = (struct lw_exchange){.address = 1};
    assert_int_equal(lw_resend_fate(NULL, &allowing, &exchange), LW_RESEND_OTHER);
}

static struct lw_exchange polled(enum lw_outcome outcome, int64_t at_ns)
{
    return (struct lw_exchange){.address = 1,
                                .outcome = outcome,
                                .sent_first_ns = at_ns,
                                .sent_last_ns = at_ns,
                                .reply_first_ns = -1,
                                .request = {5, {0x03, 0, 0, 0, 1}},
                                .reply = {4, {0x03, 2, 0, 0}}};
}

// Exact McNemar: 1 pair wrong then alone, 7 now alone: P(X >= 7 of 8) = (8 + 1)/256 (by hand).
static void errors_are_compared_pair_by_pair(void **state)
{
    (void)state;
    struct lw_resend_judge *judge = NULL;
    struct lw_resend_result result = {0};
    assert_int_equal(lw_resend_judge_new(NULL, NAN, &judge, NULL), LW_OK);
    for (int i = 0; i < 100; i++) {
        bool then_good = i != 50 && i != 99, now_good = i >= 7 && i != 99;
        struct lw_exchange then = polled(then_good ? LW_ANSWERED : LW_NO_ANSWER, i);
        struct lw_exchange now = polled(now_good ? LW_ANSWERED : LW_CRC_ERROR, i);
        assert_int_equal(lw_resend_judge_take(judge, &then, &now, NULL), LW_OK);
    }
    assert_int_equal(lw_resend_judge_result(judge, &result, NULL), LW_OK);
    assert_int_equal(result.errors_then, 2);
    assert_int_equal(result.errors_now, 8);
    assert_true(fabs(result.more_errors_p - 9.0 / 256) < 1e-12);
    lw_json_free(&lw_resend_shape, &result);
    lw_resend_judge_free(judge);
}

static void lumps_say_nothing_of_reply_times(void **state)
{
    (void)state;
    struct lw_resend_judge *judge = NULL;
    struct lw_resend_result result = {0};
    assert_int_equal(lw_resend_judge_new(NULL, NAN, &judge, NULL), LW_OK);
    for (int i = 0; i < 100; i++) {
        struct lw_exchange then = polled(LW_ANSWERED, i), now = then;
        then.reply_first_ns = then.sent_last_ns + (i % 4 == 0 ? 0 : 1000000);
        now.reply_first_ns = now.sent_last_ns + 20000000;
        assert_int_equal(lw_resend_judge_take(judge, &then, &now, NULL), LW_OK);
    }
    assert_int_equal(lw_resend_judge_result(judge, &result, NULL), LW_OK);
    assert_false(((const struct lw_resend_node *)result.nodes.items)->slower);
    lw_json_free(&lw_resend_shape, &result);
    lw_resend_judge_free(judge);
}

// Requests go out as long after one another as they did, and pauses are cut to two seconds.
static void the_rhythm_is_kept_and_long_pauses_are_cut(void **state)
{
    (void)state;
    static const uint8_t read[] = {0x04, 0x00, 0x00, 0x00, 0x02};
    const struct cell cell = {.probes = 1};
    struct walk walk;
    struct recording recording = {{0}};
    struct lw_resend_result result;
    walk_open_cell(&walk, &cell, 3);
    const double at_s[] = {0, 0.5, 0.75, 60.75};
    for (size_t i = 0; i < 4; i++) {
        add(&recording, 1, read, sizeof read);
        ((struct lw_exchange *)recording.exchanges.items)[i].sent_first_ns =
            (int64_t)(at_s[i] * 1e9);
    }
    resend(&walk, &recording, &plain, &result);
    assert_true(result.elapsed_s > 2.75 && result.elapsed_s < 2.80);
    assert_true(result.behind_s == 0);
    finish(&walk, &recording, &result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_chain_answers_the_same),
        cmocka_unit_test(a_node_that_fell_silent_is_the_only_finding),
        cmocka_unit_test(a_replaced_node_is_the_only_finding),
        cmocka_unit_test(late_replies_are_a_change_of_timing),
        cmocka_unit_test(a_magnet_moves_the_reading_and_nothing_else),
        cmocka_unit_test(a_given_tolerance_is_a_limit),
        cmocka_unit_test(a_noisy_span_is_more_errors_of_the_line),
        cmocka_unit_test(writes_are_left_out_and_counted),
        cmocka_unit_test(allowed_writes_are_sent_but_never_broadcast),
        cmocka_unit_test(errors_are_compared_pair_by_pair),
        cmocka_unit_test(lumps_say_nothing_of_reply_times),
        cmocka_unit_test(the_rhythm_is_kept_and_long_pauses_are_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
