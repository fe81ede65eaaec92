// SPDX-License-Identifier: GPL-3.0-or-later
//
// Recorded nodes answer as they did, as late, as wrong and as silent.
#include "chain/recorded.h"

#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static const struct lw_recorded_options options = {.framing = {19200, 8, 'E', 1}};

static struct lw_pdu pdu_of(const uint8_t *bytes, size_t count)
{
    struct lw_pdu pdu = {.count = count};
    memcpy(pdu.bytes, bytes, count);
    return pdu;
}

static struct lw_exchange exchange(uint8_t address, enum lw_outcome outcome, struct lw_pdu request,
                                   struct lw_pdu reply, double latency_ms)
{
    struct lw_exchange made = {.address = address,
                               .outcome = outcome,
                               .request = request,
                               .reply = reply,
                               .sent_last_ns = 1000,
                               .reply_first_ns = 1000 + (int64_t)(latency_ms * 1e6)};
    made.exception = outcome == LW_EXCEPTION ? reply.bytes[1] : 0;
    return made;
}

#define PDU(...) pdu_of((const uint8_t[]){__VA_ARGS__}, sizeof((const uint8_t[]){__VA_ARGS__}))

struct replayed {
    struct lw_recorded *recorded;
    struct lw_line *line;
};

static void replay(struct replayed *replayed, const struct lw_exchange *exchanges, size_t count,
                   const struct lw_recorded_options *how)
{
    assert_int_equal(lw_recorded_new(exchanges, count, how, &replayed->recorded, NULL), LW_OK);
    assert_int_equal(lw_recorded_port(replayed->recorded, &replayed->line, NULL), LW_OK);
}

static void answers_advance_as_recorded_and_begin_again(void **state)
{
    (void)state;
    struct lw_pdu request = PDU(4, 0, 0, 0, 1);
    const struct lw_exchange exchanges[] = {
        exchange(5, LW_ANSWERED, request, PDU(4, 2, 0, 10), 7),
        exchange(5, LW_NO_ANSWER, request, PDU(0), 0),
        exchange(5, LW_ANSWERED, request, PDU(4, 2, 0, 11), 9),
        exchange(5, LW_CRC_ERROR, request, PDU(0), 9),
    };
    struct replayed replayed;
    struct answer answer;
    replay(&replayed, exchanges, 4, &options);
    for (int round = 0; round < 2; round++) {
        ask(replayed.line, 5, &request, 100, &answer);
        assert_int_equal(word_of(&answer, 0), 10);
        assert_int_equal(answer.first_ns - answer.sent_last_ns, 7000000);
        ask(replayed.line, 5, &request, 100, &answer);
        assert_int_equal(answer.count, 0);
        ask(replayed.line, 5, &request, 100, &answer);
        assert_int_equal(word_of(&answer, 0), 11);
        ask(replayed.line, 5, &request, 100, &answer);
        assert_true(answer.count > 0);
        assert_false(answer.whole);
    }
    lw_recorded_free(replayed.recorded);
}

static void fast_replay_keeps_only_the_silence_between_frames(void **state)
{
    (void)state;
    struct lw_pdu request = PDU(4, 0, 0, 0, 1);
    const struct lw_exchange exchanges[] = {
        exchange(5, LW_ANSWERED, request, PDU(4, 2, 0, 10), 70)};
    struct lw_recorded_options fast = options;
    struct replayed replayed;
    struct answer answer;
    fast.fast = true;
    replay(&replayed, exchanges, 1, &fast);
    ask(replayed.line, 5, &request, 100, &answer);
    assert_int_equal(answer.first_ns - answer.sent_last_ns, lw_framing_t35_ns(&fast.framing));
    lw_recorded_free(replayed.recorded);
}

static void a_part_of_a_recorded_read_is_cut_out_of_it(void **state)
{
    (void)state;
    const struct lw_exchange exchanges[] = {
        exchange(5, LW_ANSWERED, PDU(3, 0, 100, 0, 3), PDU(3, 6, 0, 1, 0, 2, 0, 3), 5),
        exchange(5, LW_ANSWERED, PDU(1, 0, 0, 0, 10), PDU(1, 2, 0xA4, 0x01), 5),
    };
    struct lw_pdu registers = PDU(3, 0, 101, 0, 2), bits = PDU(1, 0, 2, 0, 7);
    struct replayed replayed;
    struct answer answer;
    replay(&replayed, exchanges, 2, &options);
    ask(replayed.line, 5, &registers, 100, &answer);
    assert_int_equal(word_of(&answer, 0), 2);
    assert_int_equal(word_of(&answer, 1), 3);
    ask(replayed.line, 5, &bits, 100, &answer); // bits 2 to 8 of 01 1010 0100
    assert_int_equal(answer.pdu.bytes[2], 0x69);
    lw_recorded_free(replayed.recorded);
}

static void what_was_never_asked_is_refused_as_that_node_refused(void **state)
{
    (void)state;
    const struct lw_exchange exchanges[] = {
        exchange(5, LW_ANSWERED, PDU(4, 0, 0, 0, 1), PDU(4, 2, 0, 10), 5),
        exchange(5, LW_EXCEPTION, PDU(3, 0, 0, 0, 1), PDU(0x83, 2), 5),
        exchange(6, LW_ANSWERED, PDU(4, 0, 0, 0, 1), PDU(4, 2, 0, 10), 5),
        exchange(6, LW_EXCEPTION, PDU(0x11), PDU(0x91, 1), 5),
        exchange(7, LW_NO_ANSWER, PDU(4, 0, 0, 0, 1), PDU(0), 0),
    };
    struct lw_pdu other = PDU(3, 0, 50, 0, 1), known = PDU(4, 0, 0, 0, 1);
    struct replayed replayed;
    struct answer answer;
    replay(&replayed, exchanges, 5, &options);
    ask(replayed.line, 5, &other, 100, &answer);
    assert_int_equal(answer.pdu.bytes[0], 0x83);
    assert_int_equal(answer.pdu.bytes[1], 2);
    ask(replayed.line, 6, &other, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], 1);
    ask(replayed.line, 7, &known, 100, &answer);
    assert_int_equal(answer.count, 0);
    lw_recorded_free(replayed.recorded);
}

static void a_recording_without_answers_is_refused(void **state)
{
    (void)state;
    const struct lw_exchange exchanges[] = {
        exchange(7, LW_NO_ANSWER, PDU(4, 0, 0, 0, 1), PDU(0), 0)};
    struct lw_recorded *recorded = NULL;
    assert_int_equal(lw_recorded_new(exchanges, 1, &options, &recorded, NULL), LW_USAGE);
    assert_null(recorded);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_advance_as_recorded_and_begin_again),
        cmocka_unit_test(fast_replay_keeps_only_the_silence_between_frames),
        cmocka_unit_test(a_part_of_a_recorded_read_is_cut_out_of_it),
        cmocka_unit_test(what_was_never_asked_is_refused_as_that_node_refused),
        cmocka_unit_test(a_recording_without_answers_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
