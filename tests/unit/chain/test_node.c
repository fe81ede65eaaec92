// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a virtual node answers, seen from the tester's port.
#include "fixture.h"

#include "stats/random.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void a_node_answers_reading_and_supply(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 3, .loops = 1}, NULL);
    ask_registers(fixture.line, 2, 4, 0, 3, &answer);
    assert_true(answer.whole);
    assert_int_equal(answer.address, 2);
    double reading = float_of(&answer, 0);
    assert_true(reading > 4 && reading < 6);
    double volts = 0.01 * word_of(&answer, 2);
    assert_true(fabs(volts - lw_chain_true_volts(fixture.chain, 2)) < 0.15);
    fixture_close(&fixture);
}

static void a_node_that_does_not_exist_is_silent(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 3}, NULL);
    ask_registers(fixture.line, 9, 3, 0, 1, &answer);
    assert_int_equal(answer.count, 0);
    fixture_close(&fixture);
}

static void an_undeclared_register_is_refused(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    ask_registers(fixture.line, 1, 3, 0, 1, &answer);
    assert_true(answer.whole);
    assert_int_equal(answer.pdu.bytes[0], 0x83);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_ADDRESS);
    fixture_close(&fixture);
}

static void a_short_gap_between_registers_reads_as_zero(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.loops = 1}, NULL);
    ask_registers(fixture.line, 1, 3, 0, 5, &answer);
    assert_int_equal(word_of(&answer, 2), 0);
    assert_int_equal(word_of(&answer, 3), 0);
    assert_in_range(word_of(&answer, 4), 2300, 2500);
    fixture_close(&fixture);
}

static void texts_and_numbers_carry_the_planned_serial(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1, .loops = 1}, NULL);
    ask_registers(fixture.line, 1, 3, 100, 2, &answer);
    assert_int_equal((uint32_t)word_of(&answer, 0) << 16 | word_of(&answer, 1), 100001);
    ask_registers(fixture.line, 2, 3, 40, 6, &answer);
    assert_true(answer.whole);
    assert_memory_equal(answer.pdu.bytes + 2, "100002", 6);
    fixture_close(&fixture);
}

static bool says(const struct answer *answer, const char *text)
{
    size_t length = strlen(text);
    for (size_t i = 0; i + length <= answer->count; i++) {
        if (memcmp(answer->bytes + i, text, length) == 0) {
            return true;
        }
    }
    return false;
}

static void identity_has_a_marker_that_says_simulated(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu basic = {4, {0x2B, 0x0E, 0x01, 0x00}};
    struct lw_pdu marker = {4, {0x2B, 0x0E, 0x04, 0x80}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    ask(fixture.line, 1, &basic, 100, &answer);
    assert_true(answer.whole);
    assert_true(says(&answer, "Example Metrology"));
    ask(fixture.line, 1, &marker, 100, &answer);
    assert_true(answer.whole);
    assert_true(says(&answer, "SIMULATED by linewalk"));
    fixture_close(&fixture);
}

static void counters_count_and_clear(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu count = {5, {0x08, 0x00, LW_COUNT_NODE_MESSAGES, 0, 0}};
    struct lw_pdu clear = {5, {0x08, 0x00, 0x0A, 0, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    for (int i = 0; i < 4; i++) {
        ask_registers(fixture.line, 1, 4, 0, 2, &answer);
    }
    ask(fixture.line, 1, &count, 100, &answer);
    assert_true(answer.whole);
    assert_int_equal(answer.pdu.bytes[4], 5);
    ask(fixture.line, 1, &clear, 100, &answer);
    ask(fixture.line, 1, &count, 100, &answer);
    assert_int_equal(answer.pdu.bytes[4], 1);
    fixture_close(&fixture);
}

static void a_damaged_request_is_counted_and_not_answered(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    const uint8_t damaged[] = {1, 4, 0, 0, 0, 2, 0, 0};
    struct lw_pdu errors = {5, {0x08, 0x00, LW_COUNT_BUS_ERRORS, 0, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    lw_line_send(fixture.line, damaged, sizeof damaged, NULL, NULL, NULL);
    listen_ms(fixture.line, 100, &answer);
    assert_int_equal(answer.count, 0);
    ask(fixture.line, 1, &errors, 100, &answer);
    assert_int_equal(answer.pdu.bytes[4], 1);
    fixture_close(&fixture);
}

static void a_locked_address_is_not_changed_and_an_unlocked_one_after_the_restart(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu set = {5, {0x06, 0, 200, 0, 9}};
    struct lw_pdu unlock = {5, {0x06, 0, 210, 1234 >> 8, 1234 & 0xFF}};
    struct lw_pdu save = {5, {0x06, 0, 211, 0, 1}};
    struct lw_pdu restart = {5, {0x08, 0, 1, 0, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    ask(fixture.line, 1, &set, 100, &answer);
    assert_int_equal(answer.pdu.bytes[0], 0x86);
    ask(fixture.line, 1, &unlock, 100, &answer);
    ask(fixture.line, 1, &set, 100, &answer);
    assert_int_equal(answer.pdu.bytes[0], 0x06);
    ask(fixture.line, 1, &save, 100, &answer);
    ask_registers(fixture.line, 1, 4, 0, 2, &answer);
    assert_true(answer.whole);
    ask(fixture.line, 1, &restart, 100, &answer);
    ask_registers(fixture.line, 9, 4, 0, 2, &answer);
    assert_true(answer.whole);
    fixture_close(&fixture);
}

static void no_reply_is_slower_than_the_profile_says(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 2}, NULL);
    for (int i = 0; i < 200; i++) {
        ask_registers(fixture.line, (uint8_t)(1 + i % 2), 4, 0, 2, &answer);
        assert_true(answer.whole);
        int64_t latency_ns = answer.first_ns - answer.sent_last_ns;
        assert_in_range(latency_ns, lw_framing_t35_ns(&fixture.line->framing), 12000000);
    }
    fixture_close(&fixture);
}

static void every_role_has_a_sensible_value(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.airs = 1}, NULL);
    ask_registers(fixture.line, 1, 4, 0, 11, &answer);
    assert_in_range(word_of(&answer, 1), 440, 560);   // 45 to 55 um in tenths, from mm
    assert_in_range(word_of(&answer, 2), 2350, 2380); // after a diode
    assert_in_range(word_of(&answer, 3), 49, 50);     // 24 V through 480 ohm
    assert_int_equal(word_of(&answer, 4), 0);
    assert_int_equal(word_of(&answer, 5), 0);
    assert_in_range(word_of(&answer, 6), 14000, 19000);
    assert_in_range(word_of(&answer, 7), 11000, 13000);
    assert_in_range(word_of(&answer, 8), 2990, 3010);
    assert_in_range(word_of(&answer, 9), 2350, 2380);
    assert_in_range(word_of(&answer, 10), 170, 230);
    fixture_close(&fixture);
}

static void calibration_is_dated_before_the_chain_begins_and_due_after_a_year(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture, &(struct fixture_plan){.airs = 1}, NULL); // 2026-01-01
    ask_registers(fixture.line, 1, 3, 20, 7, &answer);
    uint32_t sensor = (uint32_t)word_of(&answer, 0) << 16 | word_of(&answer, 1);
    uint32_t due = (uint32_t)word_of(&answer, 2) << 16 | word_of(&answer, 3);
    uint32_t calibrated = (uint32_t)word_of(&answer, 4) << 16 | word_of(&answer, 5);
    assert_in_range(sensor, 100000, 999999);
    assert_in_range(calibrated, 20250201, 20251231);
    assert_int_equal(due - calibrated, 10000);
    assert_int_equal(word_of(&answer, 6), 1);
    fixture_close(&fixture);
}

static void coils_keep_what_is_written_and_inputs_do_not_take_it(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu one = {5, {0x05, 0, 4, 0xFF, 0}}, both = {7, {0x0F, 0, 3, 0, 2, 1, 1}};
    struct lw_pdu none = {5, {0x05, 0, 0, 0xFF, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.airs = 1}, NULL);
    ask(fixture.line, 1, &one, 100, &answer);
    assert_memory_equal(answer.pdu.bytes, one.bytes, 5);
    ask_registers(fixture.line, 1, 1, 3, 2, &answer);
    assert_int_equal(answer.pdu.bytes[2], 2);
    ask(fixture.line, 1, &both, 100, &answer);
    ask_registers(fixture.line, 1, 1, 3, 2, &answer);
    assert_int_equal(answer.pdu.bytes[2], 1);
    ask(fixture.line, 1, &none, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_ADDRESS);
    ask_registers(fixture.line, 1, 2, 0, 1, &answer);
    assert_int_equal(answer.pdu.bytes[0], 2);
    ask_registers(fixture.line, 1, 2, 0, 2, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_ADDRESS);
    fixture_close(&fixture);
}

static void an_address_written_in_a_block_holds_at_once_and_answers_from_the_old_one(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu set = {8, {0x10, 0, 200, 0, 1, 2, 0, 77}};
    fixture_open(&fixture, &(struct fixture_plan){.airs = 1}, NULL);
    ask_registers(fixture.line, 1, 3, 200, 2, &answer);
    assert_int_equal(word_of(&answer, 0), 1);
    assert_int_equal(word_of(&answer, 1), 1); // 19200/8E1
    ask(fixture.line, 1, &set, 100, &answer);
    assert_int_equal(answer.address, 1);
    assert_int_equal(answer.pdu.bytes[0], 0x10);
    ask_registers(fixture.line, 77, 3, 200, 1, &answer);
    assert_int_equal(word_of(&answer, 0), 77);
    set.bytes[7] = 250;
    ask(fixture.line, 77, &set, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_VALUE);
    fixture_close(&fixture);
}

static void status_events_and_id_are_told(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu status = {1, {0x07}}, counter = {1, {0x0B}}, log = {1, {0x0C}}, id = {1, {0x11}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1}, NULL);
    ask(fixture.line, 1, &status, 100, &answer);
    assert_int_equal(answer.pdu.count, 2);
    ask_registers(fixture.line, 1, 3, 0, 1, &answer); // refused: not an event that counts
    ask(fixture.line, 1, &counter, 100, &answer);
    assert_int_equal(answer.pdu.bytes[4], 1);
    ask(fixture.line, 1, &log, 100, &answer);
    assert_true(answer.pdu.count > 8);
    assert_int_equal(answer.pdu.bytes[8], 0x80); // this request, received
    ask(fixture.line, 1, &id, 100, &answer);
    assert_true(says(&answer, "EX-D10"));
    fixture_close(&fixture);
}

static void unknown_functions_and_sub_functions_are_refused(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu fifo = {3, {0x18, 0, 0}}, odd = {3, {0x41, 0, 0}};
    struct lw_pdu listen_only = {5, {0x08, 0, 4, 0, 0}}, identity = {4, {0x2B, 0x0E, 1, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1, .airs = 1}, NULL);
    ask(fixture.line, 1, &fifo, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_FUNCTION);
    ask(fixture.line, 1, &odd, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_FUNCTION);
    ask(fixture.line, 1, &listen_only, 100, &answer);
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_FUNCTION);
    ask(fixture.line, 2, &identity, 100, &answer); // its profile names none
    assert_int_equal(answer.pdu.bytes[1], LW_ILLEGAL_FUNCTION);
    fixture_close(&fixture);
}

static void a_broadcast_is_done_and_not_answered(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_pdu on = {5, {0x05, 0, 3, 0xFF, 0}};
    fixture_open(&fixture, &(struct fixture_plan){.airs = 2}, NULL);
    ask(fixture.line, 0, &on, 100, &answer);
    assert_int_equal(answer.count, 0);
    for (uint8_t address = 1; address <= 2; address++) {
        ask_registers(fixture.line, address, 1, 3, 1, &answer);
        assert_int_equal(answer.pdu.bytes[2], 1);
    }
    fixture_close(&fixture);
}

// Every function with every kind of tail: the reply is one whole frame of the node asked, or
// silence.
static void whatever_is_asked_the_reply_is_whole_or_none(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_random chance = {11, 0, 0};
    int answered = 0;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 1, .loops = 1, .airs = 1}, NULL);
    for (uint32_t i = 0; i < 3000; i++) {
        struct lw_pdu pdu = {.count = 1 + lw_random_below(chance, 8 * i, 12)};
        for (size_t k = 0; k < pdu.count; k++) {
            uint32_t wild = lw_random_below(chance, 20000 + 16 * i + k, 4);
            pdu.bytes[k] = (uint8_t)lw_random_below(chance, 100000 + 16 * i + k, wild ? 12 : 256);
        }
        uint8_t address = (uint8_t)(1 + i % 3);
        pdu.bytes[0] = (uint8_t)(i / 3 % 64);
        ask(fixture.line, address, &pdu, 60, &answer);
        answered += answer.count > 0;
        if (answer.count > 0) {
            assert_true(answer.whole);
            assert_int_equal(answer.pdu.bytes[0] & 0x7F, pdu.bytes[0]);
        }
    }
    assert_true(answered > 1000);
    fixture_close(&fixture);
}

static void noise_on_the_line_is_not_answered(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    struct lw_random chance = {12, 0, 0};
    uint8_t bytes[300];
    fixture_open(&fixture, &(struct fixture_plan){.probes = 2}, NULL);
    for (uint32_t i = 0; i < 500; i++) {
        size_t count = 1 + lw_random_below(chance, 2 * i, 299);
        for (size_t k = 0; k < count; k++) {
            bytes[k] = (uint8_t)lw_random_below(chance, 1000 + 300 * i + k, 256);
        }
        lw_line_send(fixture.line, bytes, count, NULL, NULL, NULL);
        listen_ms(fixture.line, 30, &answer);
        assert_int_equal(answer.count, 0);
    }
    ask_registers(fixture.line, 1, 4, 0, 2, &answer);
    assert_true(answer.whole);
    fixture_close(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_node_answers_reading_and_supply),
        cmocka_unit_test(a_node_that_does_not_exist_is_silent),
        cmocka_unit_test(an_undeclared_register_is_refused),
        cmocka_unit_test(a_short_gap_between_registers_reads_as_zero),
        cmocka_unit_test(texts_and_numbers_carry_the_planned_serial),
        cmocka_unit_test(identity_has_a_marker_that_says_simulated),
        cmocka_unit_test(counters_count_and_clear),
        cmocka_unit_test(a_damaged_request_is_counted_and_not_answered),
        cmocka_unit_test(a_locked_address_is_not_changed_and_an_unlocked_one_after_the_restart),
        cmocka_unit_test(no_reply_is_slower_than_the_profile_says),
        cmocka_unit_test(every_role_has_a_sensible_value),
        cmocka_unit_test(calibration_is_dated_before_the_chain_begins_and_due_after_a_year),
        cmocka_unit_test(coils_keep_what_is_written_and_inputs_do_not_take_it),
        cmocka_unit_test(an_address_written_in_a_block_holds_at_once_and_answers_from_the_old_one),
        cmocka_unit_test(status_events_and_id_are_told),
        cmocka_unit_test(unknown_functions_and_sub_functions_are_refused),
        cmocka_unit_test(a_broadcast_is_done_and_not_answered),
        cmocka_unit_test(whatever_is_asked_the_reply_is_whole_or_none),
        cmocka_unit_test(noise_on_the_line_is_not_answered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
