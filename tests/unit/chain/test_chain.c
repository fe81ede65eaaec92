// SPDX-License-Identifier: GPL-3.0-or-later
//
// The chain as a whole: the same again from the same seed, and each fault as a master sees it.
#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void with_faults(struct fixture *fixture, size_t probes, const char *faults)
{
    fixture_open(fixture, &(struct fixture_plan){.probes = probes, .virtually = faults}, NULL);
}

// All bytes and times of a few polls of the first three nodes' readings, as one checksum.
static uint64_t trace(const struct fixture_plan *plan, const struct lw_chain_options *options,
                      int extra_polls)
{
    struct fixture fixture;
    struct answer answer;
    uint64_t sum = 1469598103934665603U;
    fixture_open(&fixture, plan, options);
    for (int i = 0; i < 60; i++) {
        lw_line_receive(fixture.line, llround(1e9 + 5e7 * i), answer.bytes, 1,
                        &(struct lw_piece){0}, NULL);
        ask_registers(fixture.line, (uint8_t)(1 + i % 3), 4, 0, 2, &answer);
        assert_true(answer.whole);
        sum = (sum ^ (uint64_t)answer.first_ns) * 1099511628211U;
        for (size_t k = 0; k < answer.count; k++) {
            sum = (sum ^ answer.bytes[k]) * 1099511628211U;
        }
        if (extra_polls) {
            ask_registers(fixture.line, 4, 4, 0, 5, &answer);
        }
    }
    fixture_close(&fixture);
    return sum;
}

static void the_same_seed_gives_the_same_bytes_and_another_other_ones(void **state)
{
    (void)state;
    struct fixture_plan plan = {.probes = 4};
    struct lw_chain_options other = {.seed_given = true, .seed = 8};
    assert_true(trace(&plan, NULL, 0) == trace(&plan, NULL, 0));
    assert_true(trace(&plan, NULL, 0) != trace(&plan, &other, 0));
}

static void polling_another_node_does_not_change_what_the_others_say(void **state)
{
    (void)state;
    struct fixture_plan plan = {.probes = 4};
    assert_true(trace(&plan, NULL, 0) == trace(&plan, NULL, 1));
}

static void a_node_more_does_not_change_what_the_others_say(void **state)
{
    (void)state;
    struct fixture_plan four = {.probes = 4}, nine = {.probes = 9};
    assert_true(trace(&four, NULL, 0) == trace(&nine, NULL, 0));
}

static void the_chain_goes_on_where_the_last_process_ended(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1},
                 &(struct lw_chain_options){.start_s = 1000});
    assert_true(lw_chain_now_s(fixture.chain) == 1000);
    ask_registers(fixture.line, 1, 4, 5, 2, &answer);
    uint32_t uptime_s = (uint32_t)word_of(&answer, 0) << 16 | word_of(&answer, 1);
    assert_in_range(uptime_s, 1000, 1060);
    fixture_close(&fixture);
}

static void doubled_like_nodes_answer_in_step_and_garble_now_and_then(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    int whole = 0, garbled = 0, silent = 0;
    with_faults(&fixture, 4,
                ", \"faults\": [{\"kind\": \"double_address\", \"tap\": 3, \"address\": 2}]");
    for (int i = 0; i < 100; i++) {
        ask_registers(fixture.line, 2, 4, 0, 2, &answer);
        whole += answer.whole;
        garbled += !answer.whole && answer.count > 0;
        silent += answer.count == 0;
    }
    assert_int_equal(silent, 0);
    assert_true(garbled > 50); // two live values seldom agree in all bits
    ask_registers(fixture.line, 3, 4, 0, 2, &answer);
    assert_int_equal(answer.count, 0);
    for (int i = 0; i < 100; i++) {
        ask_registers(fixture.line, 2, 3, 0, 1, &answer); // both say the same: no such register
        whole += answer.whole;
    }
    assert_true(whole > 50);
    fixture_close(&fixture);
}

static void a_dead_node_is_silent_until_the_fault_ends(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    with_faults(&fixture, 3, ", \"faults\": [{\"kind\": \"dead_node\", \"tap\": 2, \"to_s\": 5}]");
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_int_equal(answer.count, 0);
    listen_ms(fixture.line, 7000, &answer);
    ask_registers(fixture.line, 2, 4, 5, 2, &answer);
    assert_true(answer.whole);
    assert_in_range(word_of(&answer, 1), 1, 2); // up since about 5.1 s
    fixture_close(&fixture);
}

static void a_node_at_another_framing_is_heard_there(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    const struct lw_framing slow = {9600, 8, 'N', 2};
    with_faults(&fixture, 2,
                ", \"faults\": [{\"kind\": \"wrong_framing\", \"tap\": 2, "
                "\"framing\": \"9600/8N2\"}]");
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_false(answer.whole);
    assert_int_equal(lw_line_set_framing(fixture.line, &slow, NULL), LW_OK);
    listen_ms(fixture.line, 10, &answer);
    ask_registers(fixture.line, 2, 4, 0, 2, &answer);
    assert_true(answer.whole);
    fixture_close(&fixture);
}

static void late_replies_are_late_by_as_much_and_as_often(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    int late = 0;
    with_faults(&fixture, 1,
                ", \"faults\": [{\"kind\": \"late_replies\", \"tap\": 1, \"late_ms\": 60, "
                "\"share\": 0.3}]");
    for (int i = 0; i < 300; i++) {
        ask_registers(fixture.line, 1, 4, 0, 2, &answer);
        assert_true(answer.whole);
        late += answer.first_ns - answer.sent_last_ns > 60000000;
    }
    assert_in_range(late, 90 - 40, 90 + 40); // five times sqrt(300 x 0.3 x 0.7)
    fixture_close(&fixture);
}

static void an_echoing_adapter_gives_the_request_back(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    const uint8_t frame[] = {9, 4, 0, 0, 0, 2, 0x70, 0x43};
    with_faults(&fixture, 1, ", \"faults\": [{\"kind\": \"echoing_adapter\"}]");
    lw_line_send(fixture.line, frame, sizeof frame, NULL, NULL, NULL);
    listen_ms(fixture.line, 50, &answer);
    assert_int_equal(answer.count, sizeof frame);
    assert_memory_equal(answer.bytes, frame, sizeof frame);
    fixture_close(&fixture);
}

static void a_foreign_controller_is_heard_with_its_answers(void **state)
{
    (void)state;
    struct fixture fixture;
    struct lw_piece piece;
    uint8_t bytes[64];
    int frames = 0, requests = 0;
    with_faults(&fixture, 3,
                ", \"faults\": [{\"kind\": \"foreign_controller\", \"cycle_ms\": 200, "
                "\"addresses\": [1, 3]}]");
    while (lw_wire_now_ns(lw_chain_wire(fixture.chain)) < 2000000000) {
        lw_line_receive(fixture.line, 2000000000, bytes, sizeof bytes, &piece, NULL);
        uint8_t address = 0;
        bool frame = lw_rtu_unwrap(bytes, piece.count, &address, NULL);
        frames += frame;
        requests += frame && piece.count == 8;
        assert_true(!frame || address == 1 || address == 3);
    }
    assert_in_range(requests, 19, 21);
    assert_in_range(frames, 2 * requests - 1, 2 * requests);
    fixture_close(&fixture);
}

static void a_foreign_controller_comes_and_goes_at_its_times(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    with_faults(&fixture, 2,
                ", \"faults\": [{\"kind\": \"foreign_controller\", \"cycle_ms\": 100, "
                "\"from_s\": 1.1, \"to_s\": 2.3}]");
    listen_ms(fixture.line, 1050, &answer);
    assert_int_equal(answer.count, 0);
    listen_ms(fixture.line, 200, &answer);
    assert_true(answer.count > 0);
    while (lw_wire_now_ns(lw_chain_wire(fixture.chain)) < 2400000000) {
        listen_ms(fixture.line, 20, &answer);
    }
    listen_ms(fixture.line, 500, &answer);
    assert_int_equal(answer.count, 0);
    fixture_close(&fixture);
}

static void swapped_places_show_each_others_serials(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    with_faults(&fixture, 3, ", \"faults\": [{\"kind\": \"swapped_places\", \"taps\": [1, 3]}]");
    ask_registers(fixture.line, 1, 3, 100, 2, &answer);
    assert_int_equal(word_of(&answer, 1), 100003 & 0xFFFF);
    ask_registers(fixture.line, 3, 3, 100, 2, &answer);
    assert_int_equal(word_of(&answer, 1), 100001 & 0xFFFF);
    fixture_close(&fixture);
}

static int bad_polls(const struct fixture_plan *plan, uint8_t address, int polls)
{
    struct fixture fixture;
    struct answer answer;
    int bad = 0;
    fixture_open(&fixture, plan, NULL);
    for (int i = 0; i < polls; i++) {
        ask_registers(fixture.line, address, 4, 0, 2, &answer);
        bad += !answer.whole;
    }
    fixture_close(&fixture);
    return bad;
}

static const char terminated[] =
    ", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}, {\"at\": \"tail\", \"ohm\": 120}]";
static const char missing[] =
    ", \"faults\": [{\"kind\": \"missing_terminator\", \"at\": \"tail\"}]";

static void a_missing_terminator_does_nothing_at_19200_on_12_m(void **state)
{
    (void)state;
    struct fixture_plan plan = {.probes = 24, .line = terminated, .virtually = missing};
    assert_int_equal(bad_polls(&plan, 24, 1000), 0);
}

static void a_missing_terminator_hurts_on_a_long_fast_line(void **state)
{
    (void)state;
    struct fixture_plan plan = {.framing = "115200/8E1",
                                .probes = 6,
                                .line = terminated,
                                .virtually = missing,
                                .span = "{\"length_m\": 150, \"conductor\": {\"area_mm2\": 6}}"};
    assert_true(bad_polls(&plan, 1, 200) > 50);
    plan.virtually = NULL;
    assert_int_equal(bad_polls(&plan, 1, 200), 0);
}

static void a_noisy_span_hurts_only_those_behind_it(void **state)
{
    (void)state;
    struct fixture_plan plan = {.probes = 6,
                                .virtually =
                                    ", \"faults\": [{\"kind\": \"noisy_span\", \"span\": 4, "
                                    "\"bit_error_rate\": 0.001}]"};
    assert_int_equal(bad_polls(&plan, 3, 300), 0);
    // request 88 and reply 99 bits: 1 - 0.999^187 = 17.1 %, 51 +- 6.5 (binomial)
    assert_in_range(bad_polls(&plan, 4, 300), 51 - 30, 51 + 30);
}

static void lost_bias_hurts_receivers_that_need_it_and_is_nothing_with_it(void **state)
{
    (void)state;
    char line[400];
    snprintf(line, sizeof line,
             "%s, \"bias\": {\"at\": \"head\", \"supply_v\": 5.0, \"pull_up_ohm\": 560, "
             "\"pull_down_ohm\": 560}",
             terminated);
    struct fixture_plan plan = {.probes = 8, .line = line};
    int bad = 0;
    for (uint8_t i = 1; i <= 8; i++) {
        assert_int_equal(bad_polls(&plan, i, 50), 0);
    }
    plan.virtually = ", \"faults\": [{\"kind\": \"lost_bias\"}]";
    for (uint8_t i = 1; i <= 8; i++) {
        bad += bad_polls(&plan, i, 50);
    }
    assert_true(bad > 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_seed_gives_the_same_bytes_and_another_other_ones),
        cmocka_unit_test(polling_another_node_does_not_change_what_the_others_say),
        cmocka_unit_test(a_node_more_does_not_change_what_the_others_say),
        cmocka_unit_test(the_chain_goes_on_where_the_last_process_ended),
        cmocka_unit_test(doubled_like_nodes_answer_in_step_and_garble_now_and_then),
        cmocka_unit_test(a_dead_node_is_silent_until_the_fault_ends),
        cmocka_unit_test(a_node_at_another_framing_is_heard_there),
        cmocka_unit_test(late_replies_are_late_by_as_much_and_as_often),
        cmocka_unit_test(an_echoing_adapter_gives_the_request_back),
        cmocka_unit_test(a_foreign_controller_is_heard_with_its_answers),
        cmocka_unit_test(a_foreign_controller_comes_and_goes_at_its_times),
        cmocka_unit_test(swapped_places_show_each_others_serials),
        cmocka_unit_test(a_missing_terminator_does_nothing_at_19200_on_12_m),
        cmocka_unit_test(a_missing_terminator_hurts_on_a_long_fast_line),
        cmocka_unit_test(a_noisy_span_hurts_only_those_behind_it),
        cmocka_unit_test(lost_bias_hurts_receivers_that_need_it_and_is_nothing_with_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
