// SPDX-License-Identifier: GPL-3.0-or-later
//
// Envelopes around the worked PDUs of MODBUS Application Protocol V1.1b3, and the length of a frame
// told from each of its beginnings.
#include "modbus/frame.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include "worked.h"

// Wraps, compares with the frame in hexadecimal, and unwraps again.
static void assert_frame(uint8_t address, const char *pdu_text, const char *frame_text)
{
    struct lw_pdu pdu = pdu_of(pdu_text), again;
    uint8_t frame[LW_RTU_MAX], wanted[LW_RTU_MAX], from = 0;
    size_t count = lw_rtu_wrap(address, &pdu, frame);
    assert_int_equal(count, from_hex(frame_text, wanted));
    assert_memory_equal(frame, wanted, count);
    assert_true(lw_rtu_unwrap(frame, count, &from, &again));
    assert_int_equal(from, address);
    assert_int_equal(again.count, pdu.count);
    assert_memory_equal(again.bytes, pdu.bytes, pdu.count);
}

static void worked_pdus_get_the_crc_computed_apart(void **state)
{
    (void)state;
    // PDUs from MODBUS Application Protocol V1.1b3, 6.1 to 7; the CRCs are not printed there and
    // were computed in exact arithmetic by the rule of MODBUS over Serial Line V1.02, 6.2.2
    assert_frame(0x01, "01 00 13 00 13", "01 01 00 13 00 13 8C 02");
    assert_frame(0x01, "01 03 CD 6B 05", "01 01 03 CD 6B 05 42 82");
    assert_frame(0x11, "01 00 13 00 13", "11 01 00 13 00 13 8E 92");
    assert_frame(0x01, "02 00 C4 00 16", "01 02 00 C4 00 16 B8 39");
    assert_frame(0x11, "02 03 AC DB 35", "11 02 03 AC DB 35 20 18");
    assert_frame(0x01, "03 00 6B 00 03", "01 03 00 6B 00 03 74 17");
    assert_frame(0x01, "03 06 02 2B 00 00 00 64", "01 03 06 02 2B 00 00 00 64 05 7A");
    assert_frame(0x11, "03 06 02 2B 00 00 00 64", "11 03 06 02 2B 00 00 00 64 C8 BA");
    assert_frame(0x01, "04 00 08 00 01", "01 04 00 08 00 01 B0 08");
    assert_frame(0x11, "04 02 00 0A", "11 04 02 00 0A F8 F4");
    assert_frame(0x01, "05 00 AC FF 00", "01 05 00 AC FF 00 4C 1B");
    assert_frame(0x11, "06 00 01 00 03", "11 06 00 01 00 03 9A 9B");
    assert_frame(0x01, "07", "01 07 41 E2");
    assert_frame(0x01, "07 6D", "01 07 6D E3 DD");
    assert_frame(0x01, "08 00 00 A5 37", "01 08 00 00 A5 37 DA 8D");
    assert_frame(0x11, "08 00 0B 00 00", "11 08 00 0B 00 00 93 59");
    assert_frame(0x01, "0B FF FF 01 08", "01 0B FF FF 01 08 A4 79");
    assert_frame(0x01, "0C", "01 0C 00 25");
    assert_frame(0x11, "0C 08 00 00 01 08 01 21 20 00", "11 0C 08 00 00 01 08 01 21 20 00 59 01");
    assert_frame(0x01, "0F 00 13 00 0A 02 CD 01", "01 0F 00 13 00 0A 02 CD 01 72 CB");
    assert_frame(0x11, "0F 00 13 00 0A", "11 0F 00 13 00 0A 26 99");
    assert_frame(0x01, "10 00 01 00 02 04 00 0A 01 02", "01 10 00 01 00 02 04 00 0A 01 02 92 30");
    assert_frame(0x11, "10 00 01 00 02", "11 10 00 01 00 02 12 98");
    assert_frame(0x01, "11", "01 11 C0 2C");
    assert_frame(0x11, "11", "11 11 CD EC");
    assert_frame(0x01, "14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02",
                 "01 14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02 F4 FD");
    assert_frame(0x11, "14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40",
                 "11 14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40 69 AD");
    assert_frame(0x01, "15 0D 06 00 04 00 07 00 03 06 AF 04 BE 10 0D",
                 "01 15 0D 06 00 04 00 07 00 03 06 AF 04 BE 10 0D D6 0B");
    assert_frame(0x11, "16 00 04 00 F2 00 25", "11 16 00 04 00 F2 00 25 66 E2");
    assert_frame(0x01, "17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF",
                 "01 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF 46 91");
    assert_frame(0x11, "17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF",
                 "11 17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF 0D 75");
    assert_frame(0x01, "18 04 DE", "01 18 04 DE 03 47");
    assert_frame(0x01, "18 00 06 00 02 01 B8 12 84", "01 18 00 06 00 02 01 B8 12 84 19 18");
    assert_frame(0x01, "2B 0E 01 00", "01 2B 0E 01 00 70 77");
    assert_frame(0x11, "2B 0E 01 00", "11 2B 0E 01 00 B1 B4");
    assert_frame(0x01, "81 02", "01 81 02 C1 91");
    assert_frame(0x11, "81 02", "11 81 02 C0 54");
}

static void any_single_wrong_bit_is_seen(void **state)
{
    (void)state;
    uint8_t frame[LW_RTU_MAX];
    size_t count = from_hex("01 03 06 02 2B 00 00 00 64 05 7A", frame);
    for (size_t bit = 0; bit < 8 * count; bit++) {
        frame[bit / 8] = (uint8_t)(frame[bit / 8] ^ 1u << bit % 8);
        assert_false(lw_rtu_unwrap(frame, count, NULL, NULL));
        frame[bit / 8] = (uint8_t)(frame[bit / 8] ^ 1u << bit % 8);
    }
    assert_true(lw_rtu_unwrap(frame, count, NULL, NULL));
}

static void frames_have_4_to_256_bytes(void **state)
{
    (void)state;
    uint8_t frame[LW_RTU_MAX + 1] = {0};
    struct lw_pdu pdu = {.count = LW_PDU_MAX};
    // MODBUS over Serial Line V1.02, 2.5.1: at most 256 bytes
    assert_int_equal(lw_rtu_wrap(1, &pdu, frame), 256);
    assert_true(lw_rtu_unwrap(frame, 256, NULL, NULL));
    assert_false(lw_rtu_unwrap(frame, 257, NULL, NULL));
    const uint8_t bare[] = {0x02, 0x07, 0x41, 0x12};
    assert_true(lw_rtu_unwrap(bare, 4, NULL, NULL));
    assert_false(lw_rtu_unwrap(bare, 3, NULL, NULL));
    assert_false(lw_rtu_unwrap(bare, 0, NULL, NULL));
}

static void an_mbap_adu_comes_out_as_it_went_in(void **state)
{
    (void)state;
    struct lw_pdu pdu = pdu_of("03 00 6B 00 03"), again;
    uint8_t bytes[LW_MBAP_MAX], wanted[LW_MBAP_MAX], unit = 0;
    uint16_t transaction = 0;
    size_t count = lw_mbap_wrap(0x1501, 0xFF, &pdu, bytes);
    assert_int_equal(count, from_hex("15 01 00 00 00 06 FF 03 00 6B 00 03", wanted));
    assert_memory_equal(bytes, wanted, count);
    for (size_t short_of = 0; short_of < count; short_of++) {
        assert_int_equal(lw_mbap_unwrap(bytes, short_of, &transaction, &unit, &again),
                         LW_LENGTH_MORE);
    }
    bytes[count] = 0x15; // the next one has begun
    assert_int_equal(lw_mbap_unwrap(bytes, count + 1, &transaction, &unit, &again), (int)count);
    assert_int_equal(transaction, 0x1501);
    assert_int_equal(unit, 0xFF);
    assert_int_equal(again.count, 5);
    assert_memory_equal(again.bytes, pdu.bytes, 5);
}

static int mbap_of(const char *text)
{
    uint8_t bytes[LW_MBAP_MAX], unit;
    uint16_t transaction;
    struct lw_pdu pdu;
    return lw_mbap_unwrap(bytes, from_hex(text, bytes), &transaction, &unit, &pdu);
}

static void a_stream_that_is_no_mbap_is_impossible(void **state)
{
    (void)state;
    assert_int_equal(mbap_of("00 01 00 01 00 06"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(mbap_of("00 01 00 00 00 01"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(mbap_of("00 01 00 00 00 FF"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(mbap_of("00 01 00 00 00 FE"), LW_LENGTH_MORE);
}

// The length told from each beginning of a frame is either "more" or the truth.
static void assert_length_grows_to(const uint8_t *frame, size_t count, bool reply)
{
    bool told = false;
    for (size_t seen = 0; seen <= count; seen++) {
        int length =
            reply ? lw_rtu_reply_length(NULL, frame, seen) : lw_rtu_request_length(frame, seen);
        if (!told && length == LW_LENGTH_MORE) {
            continue;
        }
        told = true;
        assert_int_equal(length, (int)count);
    }
    assert_true(told);
}

static void every_beginning_of_a_worked_frame_tells_its_length_or_wants_more(void **state)
{
    (void)state;
    for (size_t i = 0; i < WORKED; i++) {
        struct lw_pdu request = pdu_of(worked[i].request), reply = pdu_of(worked[i].reply);
        uint8_t frame[LW_RTU_MAX];
        if (request.bytes[0] == LW_DIAGNOSTICS) {
            continue; // an echo of any length
        }
        size_t count = lw_rtu_wrap(1, &request, frame);
        assert_length_grows_to(frame, count, false);
        count = lw_rtu_wrap(1, &reply, frame);
        assert_length_grows_to(frame, count, true);
    }
}

static int reply_length(const char *request_text, const char *text)
{
    uint8_t bytes[LW_RTU_MAX];
    struct lw_pdu request = pdu_of(request_text);
    return lw_rtu_reply_length(request.count > 0 ? &request : NULL, bytes, from_hex(text, bytes));
}

static void an_echo_has_the_length_of_its_request(void **state)
{
    (void)state;
    assert_int_equal(reply_length("", "01 08 00 00"), LW_LENGTH_OPEN);
    assert_int_equal(reply_length("08 00 00 A5 37", "01 08"), 8);
    assert_int_equal(reply_length("08 00 00 A5 37 00 01", "01 08 00"), 10);
    assert_int_equal(reply_length("", "01 08 00 0B"), 8);
}

static void identity_replies_are_walked_object_by_object(void **state)
{
    (void)state;
    assert_int_equal(reply_length("", "01 2B 0E 01 01 00 00 02"), LW_LENGTH_MORE);
    assert_int_equal(reply_length("", "01 2B 0E 01 01 00 00 02 00 01"), LW_LENGTH_MORE);
    assert_int_equal(reply_length("", "01 2B 0E 01 01 00 00 02 00 01 41 01 02"), 17);
    assert_int_equal(reply_length("", "01 2B 0E 01 01 00 00 00"), 10);
    assert_int_equal(reply_length("", "01 2B 0E 01 01 00 00 01 00 FF"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(reply_length("", "01 2B 0D 01"), LW_LENGTH_OPEN);
}

static void impossible_beginnings_are_named(void **state)
{
    (void)state;
    assert_int_equal(reply_length("", "01 03 05"), LW_LENGTH_IMPOSSIBLE); // half a register
    assert_int_equal(reply_length("", "01 03 FC"), LW_LENGTH_IMPOSSIBLE); // 126 registers
    assert_int_equal(reply_length("", "01 01 00"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(reply_length("", "01 00"), LW_LENGTH_IMPOSSIBLE);
    assert_int_equal(reply_length("", "01 18 00 42"), LW_LENGTH_IMPOSSIBLE); // 32 in the FIFO
    const uint8_t exception[] = {0x01, 0x83};
    assert_int_equal(lw_rtu_request_length(exception, 2), LW_LENGTH_IMPOSSIBLE);
}

static void functions_unknown_here_are_open(void **state)
{
    (void)state;
    const uint8_t bytes[] = {0x01, 0x63, 0x00};
    assert_int_equal(lw_rtu_request_length(bytes, 3), LW_LENGTH_OPEN);
    assert_int_equal(lw_rtu_reply_length(NULL, bytes, 3), LW_LENGTH_OPEN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked_pdus_get_the_crc_computed_apart),
        cmocka_unit_test(any_single_wrong_bit_is_seen),
        cmocka_unit_test(frames_have_4_to_256_bytes),
        cmocka_unit_test(an_mbap_adu_comes_out_as_it_went_in),
        cmocka_unit_test(a_stream_that_is_no_mbap_is_impossible),
        cmocka_unit_test(every_beginning_of_a_worked_frame_tells_its_length_or_wants_more),
        cmocka_unit_test(an_echo_has_the_length_of_its_request),
        cmocka_unit_test(identity_replies_are_walked_object_by_object),
        cmocka_unit_test(impossible_beginnings_are_named),
        cmocka_unit_test(functions_unknown_here_are_open),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
