// SPDX-License-Identifier: GPL-3.0-or-later
//
// The client on a line that does what lines do: answers torn, glued, damaged, late, echoed, and
// another master. One behaviour a test.
#include "fixture.h"

static const char read_one[] = "03 00 00 00 01"; // one holding register at 0
static const char answer_42[] = "03 02 00 2A";

static void an_answer_is_complete_with_its_last_byte(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.reply_first_ns, f->last.sent_last_ns + 5 * ms);
    assert_int_equal(f->last.reply_last_ns, f->last.reply_first_ns + 7 * char_ns(&f->script));
    assert_int_equal(f->script.clock.fixed_ns, f->last.reply_last_ns);
    assert_int_equal(f->last.strays, 0);
}

static void the_request_on_the_wire_is_the_worked_frame(void **state)
{
    struct fixture *f = *state;
    uint8_t wanted[LW_RTU_MAX];
    // MODBUS Application Protocol V1.1b3, 6.3; CRC by MODBUS over Serial Line V1.02, 6.2.2
    size_t count = from_hex("11 03 00 6B 00 03 76 87", wanted);
    ask(f, 0x11, "03 00 6B 00 03");
    assert_int_equal(f->script.sent_count[0], count);
    assert_memory_equal(f->script.sent[0], wanted, count);
}

static void a_silent_node_is_given_exactly_its_time(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 50 * ms);
    assert_int_equal(f->last.reply_first_ns, -1);
    assert_int_equal(f->last.reply_last_ns, -1);
}

static void what_the_adapter_may_keep_is_waited_for_on_top(void **state)
{
    struct fixture *f = *state;
    f->script.line.late_ns = 16 * ms;
    frame(&f->script, 1, 62 * ms, 5, answer_42);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(ask(f, 6, read_one), LW_OK);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 66 * ms);
}

static void after_a_long_wait_the_next_request_goes_out_at_once(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 5});
    ask(f, 5, read_one);
    int64_t over_ns = f->script.clock.fixed_ns;
    frame(&f->script, 2, 5 * ms, 6, answer_42);
    ask(f, 6, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->script.sent_first_ns[1], over_ns);
}

static void silence_of_3_5_characters_is_kept_after_an_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    int64_t heard_ns = f->last.reply_last_ns;
    ask(f, 6, read_one);
    // MODBUS over Serial Line V1.02, 2.5.1.1: 3.5 characters, at 19200 bit/s 2.0052 ms
    assert_in_range(f->script.sent_first_ns[1] - heard_ns, 2005208, 2005300);
}

// Whoever took the 7 characters at 19200 for some at 9600 is done within one character, of 1.1458
// ms, and frames end with 3.5 of silence (MODBUS over Serial Line V1.02, 2.5.1.1).
static void another_framing_begins_with_eight_slow_characters_of_silence(void **state)
{
    struct fixture *f = *state;
    const struct lw_framing usual = f->script.line.framing, slow = {9600, 8, 'E', 1};
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    int64_t heard_ns = f->last.reply_last_ns;
    assert_int_equal(lw_client_set_framing(f->client, &slow, &f->error), LW_OK);
    frame(&f->script, 2, 5 * ms, 6, answer_42);
    ask(f, 6, read_one);
    assert_in_range(f->script.sent_first_ns[1] - heard_ns, 9166660, 9166700); // 8 * 11 / 9600 s
    assert_int_equal(lw_client_set_framing(f->client, &usual, &f->error), LW_OK);
    heard_ns = f->last.reply_last_ns;
    ask(f, 7, read_one);
    assert_in_range(f->script.sent_first_ns[2] - heard_ns, 9166660, 9166700);
}

static void the_framing_that_is_there_costs_no_time(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    const struct lw_framing same = f->script.line.framing, none = {0};
    int64_t before_ns = f->script.clock.fixed_ns;
    assert_int_equal(lw_client_set_framing(f->client, &same, &f->error), LW_OK);
    assert_int_equal(lw_client_set_framing(f->client, &none, &f->error), LW_SYSTEM);
    assert_int_equal(f->script.clock.fixed_ns, before_ns);
    assert_int_equal(f->script.line.framing.rate, 19200);
}

static void above_19200_the_silence_is_1750_us(void **state)
{
    struct fixture *f = *state;
    f->script.line.framing.rate = 115200;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    ask(f, 6, read_one);
    // MODBUS over Serial Line V1.02, 2.5.1.1
    assert_int_equal(f->script.sent_first_ns[1] - f->reported[0].reply_last_ns, 1750000);
}

static void an_extra_gap_is_added_to_the_silence(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .gap_s = 0.01});
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    ask(f, 6, read_one);
    assert_in_range(f->script.sent_first_ns[1] - f->reported[0].reply_last_ns, 12005208, 12005300);
}

static void a_stray_byte_before_a_send_starts_the_silence_again(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 1 * ms, "00");
    ask(f, 5, read_one);
    int64_t stray_ns = 1 * ms + char_ns(&f->script);
    assert_in_range(f->script.sent_first_ns[0] - stray_ns, 2005208, 2005300);
    assert_int_equal(f->last.strays, 1);
    assert_false(lw_client_foreign(f->client));
}

static void an_exception_is_an_answer_and_not_tried_again(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .attempts = 3});
    frame(&f->script, 1, 5 * ms, 5, "83 02");
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_EXCEPTION);
    assert_int_equal(f->last.exception, 2);
    assert_int_equal(f->script.sends, 1);
}

static void silence_is_tried_again_and_every_attempt_reported(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .attempts = 3});
    frame(&f->script, 2, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.attempt, 2);
    assert_int_equal(f->reports, 2);
    assert_int_equal(f->reported[0].outcome, LW_NO_ANSWER);
    assert_int_equal(f->reported[0].attempt, 1);
    assert_int_equal(f->reported[1].outcome, LW_ANSWERED);
}

static void an_answer_torn_into_pieces_is_put_together(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    tear(&f->script, 2, char_ns(&f->script) * 2);
    tear(&f->script, 1, char_ns(&f->script) * 3);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 0);
}

static void on_a_real_port_a_tear_of_16_ms_does_not_end_the_answer(void **state)
{
    struct fixture *f = *state;
    // common practice: USB adapters hand bytes over every 16 ms
    f->script.line.paced = true;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    tear(&f->script, 3, 16 * ms);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
}

static void behind_a_serial_server_the_rest_may_come_much_later(void **state)
{
    struct fixture *f = *state;
    f->script.line.paced = true;
    f->script.line.gap_ns = 100 * ms;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    tear(&f->script, 3, 80 * ms); // two delayed acknowledgements of 40 ms (common practice)
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 0);
}

static void a_broken_off_answer_is_a_crc_error_once_silence_shows_it(void **state)
{
    struct fixture *f = *state;
    struct cue *cue = frame(&f->script, 1, 45 * ms, 5, answer_42);
    cue->count = 6; // the last of 7 bytes never comes, the sixth ends at 48.4 ms
    ask(f, 5, read_one);
    assert_outcome(f, LW_CRC_ERROR);
    assert_in_range(f->script.clock.fixed_ns - f->last.sent_last_ns,
                    45 * ms + 7 * char_ns(&f->script) + 2005208,
                    45 * ms + 7 * char_ns(&f->script) + 2010000);
    assert_int_equal(f->last.reply_first_ns, f->last.sent_last_ns + 45 * ms);
}

static void an_answer_that_begins_in_time_may_end_after_the_deadline(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 49 * ms, 5, answer_42); // 7 characters take 4 ms
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
}

static void a_damaged_answer_is_a_crc_error(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42)->bytes[3] ^= 0x10;
    ask(f, 5, read_one);
    assert_outcome(f, LW_CRC_ERROR);
    assert_int_equal(f->last.reply.count, 0);
    assert_false(lw_client_foreign(f->client));
}

static void a_stray_byte_before_the_answer_is_skipped_and_counted(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 1, 5 * ms, "00");
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 1);
    assert_int_equal(f->last.reply_first_ns, f->last.sent_last_ns + 5 * ms + char_ns(&f->script));
}

static void a_stray_that_looks_like_a_long_frame_does_not_hide_the_answer(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 1, 5 * ms, "05 03 FA"); // promises 250 bytes
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 3);
}

static void a_glitch_at_turn_round_does_not_end_the_wait(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 1, 0, "FF");
    frame(&f->script, 1, 30 * ms, 5, answer_42);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 1);
}

static void an_identifier_counted_one_byte_short_is_answered_whole(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, "11 04 4C 4D 42 31 FF");
    ask(f, 5, "11");
    assert_reply(f, "11 04 4C 4D 42 31 FF");
    assert_int_equal(f->last.strays, 0);
    assert_int_equal(f->script.clock.fixed_ns, f->last.reply_last_ns); // without waiting for more
}

static void an_identity_that_counts_too_many_objects_ends_with_silence(void **state)
{
    struct fixture *f = *state;
    // the printed examples of MODBUS Application Protocol V1.1b3, 6.21, say three objects and have
    // fewer, and so do nodes
    frame(&f->script, 1, 5 * ms, 5, "2B 0E 01 01 00 00 03 00 01 41 01 01 42");
    ask(f, 5, "2B 0E 01 00");
    assert_reply(f, "2B 0E 01 01 00 00 03 00 01 41 01 01 42");
}

static void of_three_glued_answers_with_the_first_damaged_the_right_one_is_taken(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one); // times out; its answer comes with the others
    frame(&f->script, 2, 5 * ms, 6, answer_42)->bytes[2] ^= 0x01;
    frame(&f->script, 2, 0, 7, answer_42);
    glue(&f->script);
    frame(&f->script, 2, 0, 5, "03 02 00 2B");
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.strays, 14);
    assert_int_equal(f->last.late_address, 7);
    assert_false(lw_client_foreign(f->client));
}

static void two_answers_glued_to_one_request_give_one_answer_and_strays_later(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    frame(&f->script, 1, 0, 5, "03 02 00 2B");
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    ask(f, 6, read_one);
    assert_int_equal(f->last.strays, 7);
    assert_int_equal(f->last.late_address, 0);
    assert_false(lw_client_foreign(f->client));
}

static void the_same_frame_echoed_before_the_answer_is_stripped(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, -8 * char_ns(&f->script), 5, read_one);
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 0);
}

static void an_echo_glued_to_the_answer_is_stripped(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 1 * ms, 5, read_one);
    frame(&f->script, 1, 0, 5, answer_42);
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 0);
}

static void an_echo_alone_is_silence(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, -8 * char_ns(&f->script), 5, read_one);
    ask(f, 5, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.strays, 0);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 50 * ms);
}

static const char query[] = "08 00 00 A5 37";

static void an_echoed_query_of_a_silent_node_is_no_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, -8 * char_ns(&f->script), 5, query); // while we send
    ask(f, 5, query);
    assert_outcome(f, LW_NO_ANSWER);
}

static void a_returned_query_without_an_echo_is_an_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, query);
    ask(f, 5, query);
    assert_reply(f, query);
}

static void of_a_query_heard_twice_the_second_is_the_answer(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .echo = true});
    frame(&f->script, 1, 1 * ms, 5, query);
    frame(&f->script, 1, 20 * ms, 5, query);
    ask(f, 5, query);
    assert_reply(f, query);
    assert_int_equal(f->last.reply_first_ns, f->last.sent_last_ns + 20 * ms);
}

static void an_echo_once_found_is_remembered(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 1 * ms, 5, read_one);
    frame(&f->script, 1, 10 * ms, 5, answer_42);
    ask(f, 5, read_one);
    frame(&f->script, 2, 1 * ms, 5, query); // late enough to be an answer, were it not for the echo
    ask(f, 5, query);
    assert_outcome(f, LW_NO_ANSWER);
}

static void where_times_cannot_tell_a_copy_proves_nothing(void **state)
{
    struct fixture *f = *state;
    f->script.timing_u_ns = 5 * ms;
    frame(&f->script, 1, 5 * ms, 5, query);
    ask(f, 5, query);
    assert_outcome(f, LW_NO_ANSWER);
}

static void a_line_known_not_to_echo_needs_no_times_for_a_returned_query(void **state)
{
    struct fixture *f = *state;
    f->script.timing_u_ns = 5 * ms;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    ask(f, 5, read_one);
    frame(&f->script, 2, 5 * ms, 5, query);
    ask(f, 5, query);
    assert_reply(f, query);
}

static void a_late_answer_of_another_node_is_traced_and_ours_awaited(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 60 * ms, 7, answer_42);
    ask(f, 7, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    frame(&f->script, 2, 30 * ms, 5, "03 02 00 2B");
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.late_address, 7);
    // deadline at 50 ms, 60 ms and 7 characters until its end
    assert_int_equal(f->last.late_by_ns, 10 * ms + 7 * char_ns(&f->script));
    assert_int_equal(f->last.strays, 7);
    assert_false(lw_client_foreign(f->client));
}

static void a_late_answer_alone_leaves_the_asked_node_silent(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 60 * ms, 7, answer_42);
    ask(f, 7, read_one);
    ask(f, 5, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.late_address, 7);
}

static void a_late_answer_while_waiting_is_told_by_the_next_exchange(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 80 * ms, 7, answer_42);
    ask(f, 7, read_one);
    assert_int_equal(lw_client_wait(f->client, 0.1, &f->error), LW_OK);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.late_by_ns, 30 * ms + 7 * char_ns(&f->script));
    assert_int_equal(f->last.strays, 7);
}

static void a_late_exception_is_a_late_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 60 * ms, 7, "83 02");
    ask(f, 7, read_one);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
}

static void a_late_answer_is_not_taken_for_that_to_another_request(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 70 * ms, 5, answer_42);
    frame(&f->script, 2, 5 * ms, 5, "03 02 00 2B");
    ask(f, 5, read_one);
    ask(f, 5, "03 00 01 00 01"); // another register of the same node
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.late_address, 5);
}

static void the_rest_of_a_late_answer_is_stray_and_not_foreign(void **state)
{
    struct fixture *f = *state;
    struct cue *cue = frame(&f->script, 1, 60 * ms, 7, answer_42);
    cue->bytes[0] = 0xC3; // its first byte collided with our request
    ask(f, 7, read_one);
    frame(&f->script, 2, 30 * ms, 5, answer_42);
    ask(f, 5, read_one);
    assert_reply(f, answer_42);
    assert_int_equal(f->last.strays, 7);
    assert_false(lw_client_foreign(f->client));
}

// A late answer that begins while the next request is sent is heard from the `lost`th byte on.
static void talk_over(struct fixture *f, const char *pdu, size_t lost)
{
    ask(f, 7, read_one);
    struct cue *cue = frame(&f->script, 2, 0, 7, pdu);
    cue->count -= lost;
    memmove(cue->bytes, cue->bytes + lost, cue->count);
    ask(f, 5, read_one);
}

static void a_late_answer_that_we_talked_over_is_known_by_its_end(void **state)
{
    struct fixture *f = *state;
    talk_over(f, answer_42, 2);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.strays, 5);
    // asked 8 characters and 50 ms before
    assert_int_equal(f->last.late_by_ns, f->last.sent_last_ns + 5 * char_ns(&f->script) -
                                             (f->script.sent_last_ns[0] + 50 * ms));
}

static void a_late_exception_that_we_talked_over_is_known_by_its_end(void **state)
{
    struct fixture *f = *state;
    talk_over(f, "83 02", 1);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.late_address, 7);
}

static void a_late_answer_with_its_first_heard_byte_wrong_is_known_too(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    struct cue *cue = frame(&f->script, 2, 0, 7, answer_42);
    cue->bytes[0] = 0xFF; // its second byte comes whole
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
}

static void the_end_of_an_unknown_answer_is_stray_and_no_crc_error(void **state)
{
    struct fixture *f = *state;
    talk_over(f, answer_42, 5);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.late_address, 0);
    assert_int_equal(f->last.strays, 2);
}

static void an_answer_after_a_talked_over_one_is_taken(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 2, 20 * ms, 5, "03 02 00 2B");
    talk_over(f, answer_42, 3);
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.strays, 4);
}

static void the_rest_of_a_late_answer_behind_ours_is_known_too(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    frame(&f->script, 2, 20 * ms, 5, "03 02 00 2B");
    struct cue *cue = frame(&f->script, 2, 0, 7, answer_42);
    cue->count -= 1;
    memmove(cue->bytes, cue->bytes + 1, cue->count);
    glue(&f->script);
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
    ask(f, 6, read_one);
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.strays, 6);
}

static void where_times_cannot_tell_early_garbage_is_a_crc_error(void **state)
{
    struct fixture *f = *state;
    f->script.timing_u_ns = 1 * ms;
    raw(&f->script, 1, 0, "FE 91 02");
    ask(f, 5, read_one);
    assert_outcome(f, LW_CRC_ERROR);
}

static void another_function_from_the_asked_node_is_a_wrong_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, "04 02 00 2A");
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_WRONG_ANSWER);
    assert_int_equal(f->last.reply.bytes[0], 0x04);
    assert_int_equal(f->last.strays, 0);
    assert_false(lw_client_foreign(f->client));
}

static void another_number_of_registers_is_a_wrong_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, "03 04 00 2A 00 2B");
    ask(f, 5, read_one);
    assert_outcome(f, LW_WRONG_ANSWER);
}

static void an_answer_under_another_address_is_a_wrong_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 6, answer_42);
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_WRONG_ANSWER);
    assert_false(lw_client_foreign(f->client));
}

static void after_a_wrong_answer_the_right_one_still_counts(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 6, answer_42);
    frame(&f->script, 1, 20 * ms, 5, "03 02 00 2B");
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
}

static void a_foreign_request_before_ours_refuses_and_nothing_is_sent(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 0, 1 * ms, 9, "03 00 10 00 02");
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
    assert_true(lw_client_foreign(f->client));
    assert_outcome(f, LW_NOT_SENT);
    assert_int_equal(f->script.sends, 0);
    assert_string_equal(f->error.says, "another master is on 'script': heard a frame with address "
                                       "9 and function 0x03 that is not ours");
}

static void a_foreign_request_between_ours_stops_the_client(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 5, answer_42);
    frame(&f->script, 1, 20 * ms, 5, "03 00 10 00 02"); // to a node that we asked ourselves
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_int_equal(lw_client_wait(f->client, 0.1, &f->error), LW_REFUSED);
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
    assert_int_equal(f->script.sends, 1);
}

static void a_foreign_request_while_we_wait_is_foreign_too(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 9, "04 00 10 00 02");
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
    assert_true(lw_client_foreign(f->client));
    assert_int_equal(f->reports, 1);
}

static void a_foreign_frame_beside_our_answer_leaves_the_answer(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 1, 5 * ms, 9, "04 00 10 00 02");
    frame(&f->script, 1, 0, 5, answer_42);
    glue(&f->script);
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
    assert_reply(f, answer_42);
}

static void a_frame_between_ours_from_an_address_never_asked_is_foreign(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 0, 1 * ms, 9, answer_42);
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
}

static void garbage_between_requests_is_stray_and_not_foreign(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 1 * ms, "FE 00 12 83 44 91 07");
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_int_equal(f->last.strays, 7);
    assert_false(lw_client_foreign(f->client));
}

static void a_line_that_never_falls_silent_is_not_sent_to(void **state)
{
    struct fixture *f = *state;
    for (int i = 0; i < 6; i++) {
        struct cue *cue = raw(&f->script, 0, i * CUE_BYTES * char_ns(&f->script), "");
        memset(cue->bytes, 0xFE, CUE_BYTES);
        cue->count = CUE_BYTES;
    }
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_NOT_SENT);
    assert_int_equal(f->script.sends, 0);
    assert_true(f->last.strays > 1000);
    assert_int_equal(f->reports, 1);
}

static void a_babbling_node_ends_as_a_crc_error(void **state)
{
    struct fixture *f = *state;
    for (int i = 0; i < 6; i++) {
        struct cue *cue = raw(&f->script, 1, 5 * ms + i * CUE_BYTES * char_ns(&f->script), "");
        memset(cue->bytes, 0xFE, CUE_BYTES);
        cue->count = CUE_BYTES;
    }
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_CRC_ERROR);
    assert_true(f->script.clock.fixed_ns < 1200 * ms);
}

static void cancel_while_waiting_is_cancelled_and_not_reported(void **state)
{
    struct fixture *f = *state;
    f->script.cancel_ns = 20 * ms;
    assert_int_equal(ask(f, 5, read_one), LW_CANCELLED);
    assert_int_equal(f->reports, 0);
}

static void cancel_before_a_send_sends_nothing(void **state)
{
    struct fixture *f = *state;
    f->cancel.flag = 1;
    assert_int_equal(ask(f, 5, read_one), LW_CANCELLED);
    assert_int_equal(f->script.sends, 0);
}

static void a_line_that_is_gone_says_so(void **state)
{
    struct fixture *f = *state;
    f->script.gone_ns = 20 * ms;
    assert_int_equal(ask(f, 5, read_one), LW_SYSTEM);
    assert_string_equal(f->error.says, "'script' is gone: unplugged");
    assert_int_equal(ask(f, 5, read_one), LW_SYSTEM);
}

static void a_closed_other_end_is_a_lost_line(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 0, "00");
    f->script.flags = LW_PIECE_CLOSED;
    assert_int_equal(ask(f, 5, read_one), LW_SYSTEM);
}

static void a_write_is_refused_before_anything_is_sent(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(ask(f, 5, "06 00 01 00 03"), LW_REFUSED);
    assert_outcome(f, LW_NOT_SENT);
    assert_int_equal(f->script.sends, 0);
    assert_false(lw_client_foreign(f->client));
    assert_string_equal(f->error.says, "function 0x06 (write single register) is not sent: it may "
                                       "change the node");
}

static void an_allowed_write_is_sent_and_its_answer_told_from_an_echo(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.05, .allow_writes = true});
    frame(&f->script, 1, 5 * ms, 5, "06 00 01 00 03");
    assert_int_equal(ask(f, 5, "06 00 01 00 03"), LW_OK);
    assert_reply(f, "06 00 01 00 03");
    frame(&f->script, 2, -8 * char_ns(&f->script), 5, "06 00 01 00 03");
    ask(f, 5, "06 00 01 00 03");
    assert_outcome(f, LW_NO_ANSWER);
}

static void masks_and_file_writes_are_refused_even_where_writes_are_allowed(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.allow_writes = true});
    assert_int_equal(ask(f, 5, "16 00 04 00 F2 00 25"), LW_REFUSED);
    assert_int_equal(ask(f, 5, "08 00 01 00 00"), LW_REFUSED);
    assert_int_equal(f->script.sends, 0);
}

static void a_client_on_its_defaults_waits_50_ms_once(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){0});
    ask(f, 5, read_one);
    assert_int_equal(f->script.sends, 1);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 50 * ms);
    lw_client_reply_s(f->client, 0.2);
    lw_client_attempts(f->client, 2);
    ask(f, 5, read_one);
    assert_int_equal(f->script.sends, 3);
    assert_int_equal(f->script.clock.fixed_ns, f->last.sent_last_ns + 200 * ms);
}

static void silence_is_kept_after_our_own_request_too(void **state)
{
    struct fixture *f = *state;
    with(f, (struct lw_client_options){.reply_s = 0.001});
    ask(f, 5, read_one);
    ask(f, 6, read_one);
    assert_in_range(f->script.sent_first_ns[1] - f->script.sent_last_ns[0], 2005208, 2005300);
}

static void a_port_that_brings_bytes_without_end_ends_as_a_crc_error(void **state)
{
    struct fixture *f = *state;
    f->script.flood_after = 1;
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_CRC_ERROR);
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_outcome(f, LW_NOT_SENT);
    assert_true(f->script.clock.fixed_ns < 2500 * ms);
}

static void a_frame_in_the_middle_of_a_noise_is_not_foreign(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 1 * ms, "FE 10 44");
    frame(&f->script, 0, 0, 9, "03 00 10 00 02");
    glue(&f->script);
    raw(&f->script, 0, 0, "FE 91 02");
    glue(&f->script);
    assert_int_equal(ask(f, 5, read_one), LW_OK);
    assert_int_equal(f->last.strays, 14);
    assert_false(lw_client_foreign(f->client));
}

static void a_foreign_frame_with_a_stray_before_it_is_foreign(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 1 * ms, "FE");
    frame(&f->script, 0, 0, 9, "03 00 10 00 02");
    glue(&f->script);
    assert_int_equal(ask(f, 5, read_one), LW_REFUSED);
}

static void a_frame_that_began_before_the_request_does_not_answer_it(void **state)
{
    struct fixture *f = *state;
    ask(f, 5, read_one);
    frame(&f->script, 2, -(8 + 3) * char_ns(&f->script), 5, answer_42); // 3 before, 8 while we send
    frame(&f->script, 2, 20 * ms, 5, "03 02 00 2B");
    ask(f, 5, read_one);
    assert_reply(f, "03 02 00 2B");
    assert_int_equal(f->last.strays, 7);
    assert_int_equal(f->last.late_address, 0);
}

static void a_late_answer_to_the_request_before_the_last_is_traced(void **state)
{
    struct fixture *f = *state;
    ask(f, 5, read_one);
    ask(f, 5, "04 00 00 00 02");
    frame(&f->script, 3, 10 * ms, 5, answer_42);
    ask(f, 6, read_one);
    assert_outcome(f, LW_NO_ANSWER);
    assert_int_equal(f->last.late_address, 5);
    assert_false(lw_client_foreign(f->client));
}

static void a_late_answer_heard_twice_is_traced_once(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    frame(&f->script, 2, 5 * ms, 7, answer_42);
    frame(&f->script, 2, 20 * ms, 7, answer_42);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
    ask(f, 6, read_one);
    assert_int_equal(f->last.late_address, 0);
}

static void of_two_late_answers_each_exchange_tells_one(void **state)
{
    struct fixture *f = *state;
    ask(f, 7, read_one);
    ask(f, 8, read_one);
    frame(&f->script, 3, 5 * ms, 7, answer_42);
    frame(&f->script, 3, 20 * ms, 8, answer_42);
    ask(f, 5, read_one);
    assert_int_equal(f->last.late_address, 7);
    assert_int_equal(f->last.strays, 14);
    ask(f, 6, read_one);
    assert_int_equal(f->last.late_address, 8);
    assert_int_equal(f->last.strays, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        client_test(an_answer_is_complete_with_its_last_byte),
        client_test(the_request_on_the_wire_is_the_worked_frame),
        client_test(a_silent_node_is_given_exactly_its_time),
        client_test(what_the_adapter_may_keep_is_waited_for_on_top),
        client_test(after_a_long_wait_the_next_request_goes_out_at_once),
        client_test(silence_of_3_5_characters_is_kept_after_an_answer),
        client_test(another_framing_begins_with_eight_slow_characters_of_silence),
        client_test(the_framing_that_is_there_costs_no_time),
        client_test(above_19200_the_silence_is_1750_us),
        client_test(an_extra_gap_is_added_to_the_silence),
        client_test(a_stray_byte_before_a_send_starts_the_silence_again),
        client_test(an_exception_is_an_answer_and_not_tried_again),
        client_test(silence_is_tried_again_and_every_attempt_reported),
        client_test(an_answer_torn_into_pieces_is_put_together),
        client_test(on_a_real_port_a_tear_of_16_ms_does_not_end_the_answer),
        client_test(behind_a_serial_server_the_rest_may_come_much_later),
        client_test(a_broken_off_answer_is_a_crc_error_once_silence_shows_it),
        client_test(an_answer_that_begins_in_time_may_end_after_the_deadline),
        client_test(a_damaged_answer_is_a_crc_error),
        client_test(a_stray_byte_before_the_answer_is_skipped_and_counted),
        client_test(a_stray_that_looks_like_a_long_frame_does_not_hide_the_answer),
        client_test(a_glitch_at_turn_round_does_not_end_the_wait),
        client_test(an_identifier_counted_one_byte_short_is_answered_whole),
        client_test(an_identity_that_counts_too_many_objects_ends_with_silence),
        client_test(of_three_glued_answers_with_the_first_damaged_the_right_one_is_taken),
        client_test(two_answers_glued_to_one_request_give_one_answer_and_strays_later),
        client_test(the_same_frame_echoed_before_the_answer_is_stripped),
        client_test(an_echo_glued_to_the_answer_is_stripped),
        client_test(an_echo_alone_is_silence),
        client_test(an_echoed_query_of_a_silent_node_is_no_answer),
        client_test(a_returned_query_without_an_echo_is_an_answer),
        client_test(of_a_query_heard_twice_the_second_is_the_answer),
        client_test(an_echo_once_found_is_remembered),
        client_test(where_times_cannot_tell_a_copy_proves_nothing),
        client_test(a_line_known_not_to_echo_needs_no_times_for_a_returned_query),
        client_test(a_late_answer_of_another_node_is_traced_and_ours_awaited),
        client_test(a_late_answer_alone_leaves_the_asked_node_silent),
        client_test(a_late_answer_while_waiting_is_told_by_the_next_exchange),
        client_test(a_late_exception_is_a_late_answer),
        client_test(a_late_answer_is_not_taken_for_that_to_another_request),
        client_test(the_rest_of_a_late_answer_is_stray_and_not_foreign),
        client_test(a_late_answer_that_we_talked_over_is_known_by_its_end),
        client_test(a_late_exception_that_we_talked_over_is_known_by_its_end),
        client_test(a_late_answer_with_its_first_heard_byte_wrong_is_known_too),
        client_test(the_end_of_an_unknown_answer_is_stray_and_no_crc_error),
        client_test(an_answer_after_a_talked_over_one_is_taken),
        client_test(the_rest_of_a_late_answer_behind_ours_is_known_too),
        client_test(where_times_cannot_tell_early_garbage_is_a_crc_error),
        client_test(another_function_from_the_asked_node_is_a_wrong_answer),
        client_test(another_number_of_registers_is_a_wrong_answer),
        client_test(an_answer_under_another_address_is_a_wrong_answer),
        client_test(after_a_wrong_answer_the_right_one_still_counts),
        client_test(a_foreign_request_before_ours_refuses_and_nothing_is_sent),
        client_test(a_foreign_request_between_ours_stops_the_client),
        client_test(a_foreign_request_while_we_wait_is_foreign_too),
        client_test(a_foreign_frame_beside_our_answer_leaves_the_answer),
        client_test(a_frame_between_ours_from_an_address_never_asked_is_foreign),
        client_test(garbage_between_requests_is_stray_and_not_foreign),
        client_test(a_line_that_never_falls_silent_is_not_sent_to),
        client_test(a_babbling_node_ends_as_a_crc_error),
        client_test(cancel_while_waiting_is_cancelled_and_not_reported),
        client_test(cancel_before_a_send_sends_nothing),
        client_test(a_line_that_is_gone_says_so),
        client_test(a_closed_other_end_is_a_lost_line),
        client_test(a_write_is_refused_before_anything_is_sent),
        client_test(an_allowed_write_is_sent_and_its_answer_told_from_an_echo),
        client_test(masks_and_file_writes_are_refused_even_where_writes_are_allowed),
        client_test(a_client_on_its_defaults_waits_50_ms_once),
        client_test(silence_is_kept_after_our_own_request_too),
        client_test(a_port_that_brings_bytes_without_end_ends_as_a_crc_error),
        client_test(a_frame_in_the_middle_of_a_noise_is_not_foreign),
        client_test(a_foreign_frame_with_a_stray_before_it_is_foreign),
        client_test(a_frame_that_began_before_the_request_does_not_answer_it),
        client_test(a_late_answer_to_the_request_before_the_last_is_traced),
        client_test(a_late_answer_heard_twice_is_traced_once),
        client_test(of_two_late_answers_each_exchange_tells_one),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
