// SPDX-License-Identifier: GPL-3.0-or-later
//
// Requests and replies against the worked examples and the limits of MODBUS Application Protocol
// V1.1b3, sections 6 and 7.
#include "modbus/pdu.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include "worked.h"

static struct lw_reply reply_to(const char *request, const char *reply)
{
    struct lw_pdu asked = pdu_of(request), answer = pdu_of(reply);
    struct lw_reply values;
    assert_true(lw_reply_parse(&asked, &answer, &values));
    return values;
}

static uint8_t refusal(const char *request)
{
    struct lw_pdu pdu = pdu_of(request);
    struct lw_request values;
    return lw_request_parse(&pdu, &values);
}

static bool fits(const char *request, const char *reply)
{
    struct lw_pdu asked = pdu_of(request), answer = pdu_of(reply);
    struct lw_reply values;
    return lw_reply_parse(&asked, &answer, &values);
}

static void every_worked_request_is_built_as_it_was_parsed(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        struct lw_pdu pdu = pdu_of(worked[i].request), again;
        struct lw_request values;
        assert_int_equal(lw_request_parse(&pdu, &values), 0);
        assert_true(lw_request_build(&values, &again));
        assert_int_equal(again.count, pdu.count);
        assert_memory_equal(again.bytes, pdu.bytes, pdu.count);
    }
}

static void every_worked_reply_fits_and_is_built_as_it_was_parsed(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        struct lw_pdu pdu = pdu_of(worked[i].reply), again;
        struct lw_reply values = reply_to(worked[i].request, worked[i].reply);
        assert_true(lw_reply_build(&values, &again));
        assert_int_equal(again.count, pdu.count);
        assert_memory_equal(again.bytes, pdu.bytes, pdu.count);
    }
}

static void a_worked_reply_fits_its_own_request_only(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        for (size_t k = 0; k < WORKED; k++) {
            bool exception = pdu_of(worked[k].reply).bytes[0] & LW_EXCEPTION_BIT;
            bool same_function =
                pdu_of(worked[i].request).bytes[0] == (pdu_of(worked[k].reply).bytes[0] & 0x7F);
            if (!(exception && same_function)) { // an exception fits any request of its function
                assert_int_equal(fits(worked[i].request, worked[k].reply), i == k);
            }
        }
    }
}

static void coils_20_to_38_are_read_as_printed(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.1: outputs 27-20 are CD, 35-28 are 6B, 38-36 are 05
    struct lw_reply reply = reply_to(worked[0].request, worked[0].reply);
    assert_int_equal(reply.count, 19);
    assert_true(lw_bit(reply.bits, 0));  // output 20
    assert_false(lw_bit(reply.bits, 1)); // output 21
    assert_true(lw_bit(reply.bits, 27 - 20));
    assert_true(lw_bit(reply.bits, 36 - 20));
    assert_false(lw_bit(reply.bits, 37 - 20));
    assert_true(lw_bit(reply.bits, 38 - 20));
}

static void registers_108_to_110_read_555_0_100(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.3
    struct lw_reply reply = reply_to(worked[2].request, worked[2].reply);
    assert_int_equal(reply.count, 3);
    assert_int_equal(reply.values[0], 555);
    assert_int_equal(reply.values[1], 0);
    assert_int_equal(reply.values[2], 100);
}

static void input_register_9_reads_10(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.4
    assert_int_equal(reply_to(worked[3].request, worked[3].reply).values[0], 10);
}

static void exception_status_reads_6d(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.7
    assert_int_equal(reply_to("07", "07 6D").status, 0x6D);
}

static void event_counter_is_busy_after_264_events(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.9
    struct lw_reply reply = reply_to("0B", "0B FF FF 01 08");
    assert_int_equal(reply.event_status, 0xFFFF);
    assert_int_equal(reply.event_count, 264);
}

static void event_log_has_264_events_289_messages_and_two_event_bytes(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.10 (the text's reading of byte 0x20 is a misprint and
    // is not used here)
    struct lw_reply reply = reply_to("0C", "0C 08 00 00 01 08 01 21 20 00");
    assert_int_equal(reply.event_status, 0);
    assert_int_equal(reply.event_count, 264);
    assert_int_equal(reply.message_count, 289);
    assert_int_equal(reply.byte_count, 2);
    assert_int_equal(reply.bytes[0], 0x20);
    assert_int_equal(reply.bytes[1], 0x00);
}

static void ten_coils_are_written_from_two_bytes(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.11: coils 27-20 from CD, 29-28 from 01
    struct lw_pdu pdu = pdu_of("0F 00 13 00 0A 02 CD 01");
    struct lw_request request;
    assert_int_equal(lw_request_parse(&pdu, &request), 0);
    assert_int_equal(request.start, 19);
    assert_int_equal(request.count, 10);
    assert_true(lw_bit(request.bits, 8));
    assert_false(lw_bit(request.bits, 9));
}

static void two_file_parts_are_read_one_after_the_other(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.14
    struct lw_reply reply = reply_to(worked[12].request, worked[12].reply);
    assert_int_equal(reply.part_count, 2);
    assert_int_equal(reply.values[0], 0x0DFE);
    assert_int_equal(reply.values[1], 0x0020);
    assert_int_equal(reply.values[2], 0x33CD);
    assert_int_equal(reply.values[3], 0x0040);
}

static void the_printed_masks_turn_12_into_17(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.16: (0x12 AND 0xF2) OR (0x25 AND NOT 0xF2) = 0x17
    struct lw_pdu pdu = pdu_of("16 00 04 00 F2 00 25");
    struct lw_request r;
    assert_int_equal(lw_request_parse(&pdu, &r), 0);
    assert_int_equal((0x12 & r.and_mask) | (r.or_mask & ~r.and_mask), 0x17);
}

static void six_registers_are_read_while_three_are_written(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.17
    struct lw_pdu pdu = pdu_of(worked[15].request);
    struct lw_request request;
    assert_int_equal(lw_request_parse(&pdu, &request), 0);
    assert_int_equal(request.start, 3);
    assert_int_equal(request.count, 6);
    assert_int_equal(request.write_start, 14);
    assert_int_equal(request.write_count, 3);
    assert_int_equal(request.values[2], 0x00FF);
    assert_int_equal(reply_to(worked[15].request, worked[15].reply).values[1], 0x0ACD);
}

static void the_fifo_holds_440_and_4740(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.18
    struct lw_reply reply = reply_to(worked[16].request, worked[16].reply);
    assert_int_equal(reply.count, 2);
    assert_int_equal(reply.values[0], 440);
    assert_int_equal(reply.values[1], 4740);
}

static void an_absent_coil_is_exception_2(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 7: coil 1185 of a device that has none
    struct lw_reply reply = reply_to("01 04 A1 00 01", "81 02");
    assert_int_equal(reply.function, 0x01);
    assert_int_equal(reply.exception, LW_ILLEGAL_ADDRESS);
    assert_string_equal(lw_exception_word(reply.exception), "illegal data address");
}

static void an_identifier_counted_one_byte_short_is_taken_whole(void **state)
{
    (void)state;
    struct lw_reply reply = reply_to("11", "11 02 4C 57 FF");
    assert_int_equal(reply.byte_count, 3);
    assert_int_equal(reply.bytes[2], 0xFF);
    assert_false(fits("11", "11 01 4C 57 FF"));
    assert_false(fits("11", "11 03 4C 57"));
}

static void quantities_beyond_the_limits_are_exception_3(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.1 to 6.4: 1..2000 bits, 1..125 registers
    assert_int_equal(refusal("01 00 00 00 00"), LW_ILLEGAL_VALUE);
    assert_int_equal(refusal("01 00 00 07 D0"), 0);
    assert_int_equal(refusal("02 00 00 07 D1"), LW_ILLEGAL_VALUE);
    assert_int_equal(refusal("03 00 00 00 00"), LW_ILLEGAL_VALUE);
    assert_int_equal(refusal("03 00 00 00 7D"), 0);
    assert_int_equal(refusal("04 00 00 00 7E"), LW_ILLEGAL_VALUE);
    // 6.5: a coil is 0x0000 or 0xFF00
    assert_int_equal(refusal("05 00 00 00 01"), LW_ILLEGAL_VALUE);
    // 6.11, 6.12: the byte count belongs to the quantity
    assert_int_equal(refusal("0F 00 00 00 09 01 FF"), LW_ILLEGAL_VALUE);
    assert_int_equal(refusal("10 00 00 00 01 04 00 00 00 00"), LW_ILLEGAL_VALUE);
    // 6.14: byte count 7..245, reference type 6, record to 0x270F
    assert_int_equal(refusal("14 06 06 00 01 00 00 00"), LW_ILLEGAL_VALUE);
    assert_int_equal(refusal("14 07 05 00 01 00 00 00 01"), LW_ILLEGAL_ADDRESS);
    assert_int_equal(refusal("14 07 06 00 01 27 10 00 01"), LW_ILLEGAL_ADDRESS);
    assert_int_equal(refusal("14 07 06 00 01 27 0F 00 01"), 0);
}

static struct lw_request largest(uint8_t function)
{
    struct lw_request request = {.function = function, .count = 1, .write_count = 1};
    return request;
}

static void builders_stop_at_the_limits_of_section_6(void **state)
{
    (void)state;
    struct lw_pdu pdu;
    struct lw_request coils = largest(LW_WRITE_COILS), registers = largest(LW_WRITE_REGISTERS),
                      both = largest(LW_READ_WRITE);
    coils.count = 1968; // 6.11: 0x7B0
    assert_true(lw_request_build(&coils, &pdu));
    coils.count = 1969;
    assert_false(lw_request_build(&coils, &pdu));
    registers.count = 123; // 6.12: 0x7B
    assert_true(lw_request_build(&registers, &pdu));
    registers.count = 124;
    assert_false(lw_request_build(&registers, &pdu));
    assert_int_equal(pdu.count, 0);
    both.count = 125, both.write_count = 121; // 6.17: 0x7D, 0x79
    assert_true(lw_request_build(&both, &pdu));
    both.write_count = 122;
    assert_false(lw_request_build(&both, &pdu));
    both.write_count = 0xFFFF;
    assert_false(lw_request_build(&both, &pdu));
    coils.count = 0xFFFF;
    assert_false(lw_request_build(&coils, &pdu));
}

static void a_range_past_65536_is_exception_2(void **state)
{
    (void)state;
    assert_int_equal(refusal("03 FF FF 00 01"), 0);
    assert_int_equal(refusal("03 FF FF 00 02"), LW_ILLEGAL_ADDRESS);
}

static void functions_not_in_the_protocol_are_exception_1(void **state)
{
    (void)state;
    assert_int_equal(refusal("63"), LW_ILLEGAL_FUNCTION);
    assert_int_equal(refusal("00"), LW_ILLEGAL_FUNCTION);
    assert_int_equal(refusal("2B 0D 00"), LW_ILLEGAL_FUNCTION);
    struct lw_pdu empty = {0};
    struct lw_request request;
    assert_int_equal(lw_request_parse(&empty, &request), LW_ILLEGAL_FUNCTION);
}

static void the_longest_replies_fill_the_pdu(void **state)
{
    (void)state;
    struct lw_pdu pdu;
    struct lw_reply registers = {.function = LW_READ_HOLDING, .count = 125};
    assert_true(lw_reply_build(&registers, &pdu));
    assert_int_equal(pdu.count, 252);
    registers.count = 126;
    assert_false(lw_reply_build(&registers, &pdu));
    struct lw_reply bits = {.function = LW_READ_COILS, .count = 2000};
    assert_true(lw_reply_build(&bits, &pdu));
    assert_int_equal(pdu.count, 252);
    bits.count = 2001;
    assert_false(lw_reply_build(&bits, &pdu));
    struct lw_reply fifo = {.function = LW_READ_FIFO, .count = 31}; // 6.18
    assert_true(lw_reply_build(&fifo, &pdu));
    fifo.count = 32;
    assert_false(lw_reply_build(&fifo, &pdu));
    struct lw_reply log = {.function = LW_EVENT_LOG, .byte_count = 64}; // 6.10
    assert_true(lw_reply_build(&log, &pdu));
    log.byte_count = 65;
    assert_false(lw_reply_build(&log, &pdu));
}

static void a_reply_cut_or_lengthened_by_a_byte_does_not_fit(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        struct lw_pdu asked = pdu_of(worked[i].request), answer = pdu_of(worked[i].reply);
        struct lw_reply values;
        answer.count--;
        assert_false(lw_reply_parse(&asked, &answer, &values));
        answer.count += 2;
        answer.bytes[answer.count - 1] = 0;
        assert_false(lw_reply_parse(&asked, &answer, &values));
    }
}

static void exception_codes_have_the_words_of_section_7(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 7
    assert_string_equal(lw_exception_word(0x01), "illegal function");
    assert_string_equal(lw_exception_word(0x03), "illegal data value");
    assert_string_equal(lw_exception_word(0x04), "server device failure");
    assert_string_equal(lw_exception_word(0x05), "acknowledge");
    assert_string_equal(lw_exception_word(0x06), "server device busy");
    assert_string_equal(lw_exception_word(0x08), "memory parity error");
    assert_string_equal(lw_exception_word(0x0A), "gateway path unavailable");
    assert_string_equal(lw_exception_word(0x0B), "gateway target device failed to respond");
    assert_null(lw_exception_word(0x07)); // not in the V1.1b3 table
    assert_null(lw_exception_word(0x09)); // not in the V1.1b3 table
}

static void each_function_of_section_6_has_a_word(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        assert_non_null(lw_function_word(pdu_of(worked[i].request).bytes[0]));
    }
    assert_string_equal(lw_function_word(0x83), "read holding registers");
    assert_null(lw_function_word(0x63));
}

static void bits_are_set_and_cleared_one_by_one(void **state)
{
    (void)state;
    uint8_t bits[3] = {0};
    lw_bit_set(bits, 9, true);
    lw_bit_set(bits, 23, true);
    lw_bit_set(bits, 22, true);
    lw_bit_set(bits, 22, false);
    assert_int_equal(bits[0], 0x00);
    assert_int_equal(bits[1], 0x02);
    assert_int_equal(bits[2], 0x80);
    assert_true(lw_bit(bits, 23));
    assert_false(lw_bit(bits, 22));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_worked_request_is_built_as_it_was_parsed),
        cmocka_unit_test(every_worked_reply_fits_and_is_built_as_it_was_parsed),
        cmocka_unit_test(a_worked_reply_fits_its_own_request_only),
        cmocka_unit_test(coils_20_to_38_are_read_as_printed),
        cmocka_unit_test(registers_108_to_110_read_555_0_100),
        cmocka_unit_test(input_register_9_reads_10),
        cmocka_unit_test(exception_status_reads_6d),
        cmocka_unit_test(event_counter_is_busy_after_264_events),
        cmocka_unit_test(event_log_has_264_events_289_messages_and_two_event_bytes),
        cmocka_unit_test(ten_coils_are_written_from_two_bytes),
        cmocka_unit_test(two_file_parts_are_read_one_after_the_other),
        cmocka_unit_test(the_printed_masks_turn_12_into_17),
        cmocka_unit_test(six_registers_are_read_while_three_are_written),
        cmocka_unit_test(the_fifo_holds_440_and_4740),
        cmocka_unit_test(an_absent_coil_is_exception_2),
        cmocka_unit_test(an_identifier_counted_one_byte_short_is_taken_whole),
        cmocka_unit_test(quantities_beyond_the_limits_are_exception_3),
        cmocka_unit_test(builders_stop_at_the_limits_of_section_6),
        cmocka_unit_test(a_range_past_65536_is_exception_2),
        cmocka_unit_test(functions_not_in_the_protocol_are_exception_1),
        cmocka_unit_test(the_longest_replies_fill_the_pdu),
        cmocka_unit_test(a_reply_cut_or_lengthened_by_a_byte_does_not_fit),
        cmocka_unit_test(exception_codes_have_the_words_of_section_7),
        cmocka_unit_test(each_function_of_section_6_has_a_word),
        cmocka_unit_test(bits_are_set_and_cleared_one_by_one),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
