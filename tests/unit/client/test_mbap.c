// SPDX-License-Identifier: GPL-3.0-or-later
//
// The client behind a gateway (MODBUS Messaging on TCP/IP V1.0b): transaction ids, and TCP's habit
// of cutting a stream where it likes.
#include "fixture.h"

static const char read_one[] = "03 00 00 00 01";
static const char answer_42[] = "03 02 00 2A";

static int set_up_mbap(void **state)
{
    set_up(state);
    struct fixture *f = *state;
    f->script.line.adu = LW_ADU_MBAP;
    f->script.line.hears_others = false;
    f->script.line.framed = false;
    return 0;
}

// The transaction id of the n-th send, counted from 1.
static uint16_t sent_id(const struct fixture *f, int n)
{
    return (uint16_t)(f->script.sent[n - 1][0] << 8 | f->script.sent[n - 1][1]);
}

static void a_request_goes_out_as_an_adu_with_the_unit(void **state)
{
    struct fixture *f = *state;
    uint8_t wanted[LW_MBAP_MAX];
    size_t count = from_hex("00 01 00 00 00 06 05 03 00 00 00 01", wanted);
    ask(f, 5, read_one);
    assert_int_equal(f->script.sent_count[0], count);
    assert_memory_equal(f->script.sent[0], wanted, count);
    ask(f, 5, read_one);
    assert_int_equal(sent_id(f, 2), 2);
}

static void an_adu_with_the_right_transaction_is_the_answer(void **state)
{
    struct fixture *f = *state;
    adu(&f->script, 1, 5 * ms, 1, 5, answer_42);
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.reply_first_ns, f->last.sent_last_ns + 5 * ms);
}

static void an_answer_in_many_segments_is_put_together(void **state)
{
    struct fixture *f = *state;
    adu(&f->script, 1, 5 * ms, 1, 5, answer_42);
    tear(&f->script, 8, 100 * ms);
    tear(&f->script, 2, 200 * ms);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
}

static void an_answer_that_begins_and_never_ends_is_garbled(void **state)
{
    struct fixture *f = *state;
    adu(&f->script, 1, 5 * ms, 1, 5, answer_42)->count = 9;
    ask(f, 5, read_one);
    assert_outcome(f, LW_CRC_ERROR);
}

static void an_old_answer_in_the_same_segment_is_dropped_and_traced(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one); // transaction 1 times out
    adu(&f->script, 2, 5 * ms, 1, 7, answer_42);
    adu(&f->script, 2, 0, 2, 5, "03 02 00 2B");
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.strays, 11);
}

static void an_old_answer_behind_ours_is_traced_by_the_next_exchange(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    adu(&f->script, 2, 5 * ms, 2, 5, answer_42);
    adu(&f->script, 2, 0, 1, 7, answer_42);
    glue(&f->script);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 0);
    ask(f, 6, read_one);
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 50 * ms);
}

static void the_same_late_answer_twice_is_traced_once(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    adu(&f->script, 2, 5 * ms, 1, 7, answer_42);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
    adu(&f->script, 3, 5 * ms, 1, 7, answer_42);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 0);
    assert_int_equal(f->last.strays, 11);
}

static void a_late_answer_to_the_same_request_is_not_taken_for_the_new_one(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .attempts = 2});
    adu(&f->script, 2, 5 * ms, 1, 5, answer_42); // the first attempt's
    adu(&f->script, 2, 20 * ms, 2, 5, "03 02 00 2B");
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
}

static void the_right_transaction_of_another_unit_is_a_wrong_answer(void **state)
{
    struct fixture *f = *state;
    adu(&f->script, 1, 5 * ms, 1, 6, answer_42);
    ask(f, 5, read_one);
    assert_outcome(f, LW_WRONG_ANSWER);
}

// MODBUS Application Protocol V1.1b3, 7: 0A gateway path unavailable, 0B gateway target device
// failed to respond.
static void a_gateways_own_exceptions_are_no_answer_of_a_node(void **state)
{
    struct fixture *f = *state;
    struct lw_client_gateway said;
    adu(&f->script, 1, 5 * ms, 1, 5, "83 0B");
    adu(&f->script, 2, 5 * ms, 2, 5, "83 0A");
    adu(&f->script, 3, 5 * ms, 3, 5, "83 02");
    ask(f, 5, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.exception, 0x0B);
    ask(f, 5, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.exception, 0x0A);
    ask(f, 5, read_one);
    assert_outcome(f, LW_EXCEPTION);
    lw_client_gateway(f->client, &said);
    assert_int_equal(said.silent, 1);
    assert_int_equal(said.path, 1);
    assert_int_equal(said.answers, 1);
}

static void a_stream_that_is_no_mbap_is_garbled_and_the_next_one_starts_afresh(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 1, 5 * ms, "48 54 54 50 2F 31 2E 31 20 34 30 30");
    adu(&f->script, 2, 5 * ms, 2, 5, answer_42);
    ask(f, 5, read_one);
    assert_outcome(f, LW_CRC_ERROR);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
}

static void units_above_247_can_be_asked(void **state)
{
    struct fixture *f = *state;
    adu(&f->script, 1, 5 * ms, 1, 255, answer_42);
    ask(f, 255, read_one);
    assert_reply(f, answer_42);
}

#define mbap_test(name) cmocka_unit_test_setup_teardown(name, set_up_mbap, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        mbap_test(a_request_goes_out_as_an_adu_with_the_unit),
        mbap_test(an_adu_with_the_right_transaction_is_the_answer),
        mbap_test(an_answer_in_many_segments_is_put_together),
        mbap_test(an_answer_that_begins_and_never_ends_is_garbled),
        mbap_test(an_old_answer_in_the_same_segment_is_dropped_and_traced),
        mbap_test(an_old_answer_behind_ours_is_traced_by_the_next_exchange),
        mbap_test(the_same_late_answer_twice_is_traced_once),
        mbap_test(a_late_answer_to_the_same_request_is_not_taken_for_the_new_one),
        mbap_test(the_right_transaction_of_another_unit_is_a_wrong_answer),
        mbap_test(a_gateways_own_exceptions_are_no_answer_of_a_node),
        mbap_test(a_stream_that_is_no_mbap_is_garbled_and_the_next_one_starts_afresh),
        mbap_test(units_above_247_can_be_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
