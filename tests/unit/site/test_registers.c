// SPDX-License-Identifier: GPL-3.0-or-later
//
// Registers: planned in blocks, decoded and encoded.
#include "modbus/pdu.h"
#include "site/registers.h"
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static uint32_t bit(enum lw_role role)
{
    return UINT32_C(1) << role;
}

static void read_profile(const char *registers, struct lw_profile *profile)
{
    char text[2048];
    struct lw_error error = {0};
    lw_print(text, sizeof text,
             "{\"format\": \"linewalk/profile/1\", \"name\": \"p\", \"kind\": \"air\", "
             "\"registers\": [%s]}",
             registers);
    if (lw_profile_read(text, strlen(text), "p", profile, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
}

static void example_profile(struct lw_profile *profile)
{
    char *text = site_data("profiles/example-probe.json");
    assert_int_equal(lw_profile_read(text, strlen(text), "p", profile, NULL), LW_OK);
    free(text);
}

static void expect_block(const struct lw_block *block, int function, int at, int count)
{
    assert_int_equal(block->function, function);
    assert_int_equal(block->at, at);
    assert_int_equal(block->count, count);
}

static void neighbours_travel_together(void **state)
{
    (void)state;
    struct lw_profile profile;
    struct lw_block blocks[LW_BLOCKS_MAX];
    example_profile(&profile);
    assert_int_equal(lw_registers_plan(&profile, UINT32_MAX, blocks), 2);
    expect_block(&blocks[0], 3, 100, 4);
    expect_block(&blocks[1], 4, 0, 8);
    uint32_t two = bit(LW_ROLE_READING) | bit(LW_ROLE_STATUS);
    assert_int_equal(lw_registers_plan(&profile, two, blocks), 1);
    expect_block(&blocks[0], 4, 0, 5);
    assert_int_equal(lw_registers_plan(&profile, 0, blocks), 0);
    lw_json_free(&lw_profile_shape, &profile);
}

static void wide_gap_makes_two_blocks(void **state)
{
    (void)state;
    struct lw_profile profile;
    struct lw_block blocks[LW_BLOCKS_MAX];
    read_profile("{\"role\": \"reading\", \"register\": 20},"
                 "{\"role\": \"supply_v\", \"register\": 10},"
                 "{\"role\": \"serial\", \"register\": 0}",
                 &profile);
    uint32_t all = UINT32_MAX;
    assert_int_equal(lw_registers_plan(&profile, all, blocks), 3); // gaps of nine
    lw_json_free(&lw_profile_shape, &profile);
    read_profile("{\"role\": \"reading\", \"register\": 9},"
                 "{\"role\": \"serial\", \"register\": 0}",
                 &profile);
    assert_int_equal(lw_registers_plan(&profile, all, blocks), 1); // a gap of eight
    expect_block(&blocks[0], 3, 0, 10);
    lw_json_free(&lw_profile_shape, &profile);
}

static void register_that_clears_on_read_is_left_alone(void **state)
{
    (void)state;
    struct lw_profile profile;
    struct lw_block blocks[LW_BLOCKS_MAX];
    read_profile("{\"role\": \"reading\", \"register\": 0},"
                 "{\"role\": \"status\", \"register\": 1, \"clears_on_read\": true},"
                 "{\"role\": \"serial\", \"register\": 2}",
                 &profile);
    assert_int_equal(lw_registers_plan(&profile, UINT32_MAX, blocks), 2);
    expect_block(&blocks[0], 3, 0, 1);
    expect_block(&blocks[1], 3, 2, 1);
    lw_json_free(&lw_profile_shape, &profile);
}

// MODBUS Application Protocol V1.1b3, 6.3: at most 125 registers.
static void block_is_never_longer_than_one_read_may_be(void **state)
{
    (void)state;
    struct lw_profile profile;
    struct lw_block blocks[LW_BLOCKS_MAX];
    read_profile("{\"role\": \"serial\", \"register\": 0, \"type\": \"text\", \"length\": 120},"
                 "{\"role\": \"sensor_serial\", \"register\": 60, \"type\": \"text\", \"length\": "
                 "120},"
                 "{\"role\": \"firmware\", \"register\": 120, \"type\": \"text\", \"length\": 12}",
                 &profile);
    assert_int_equal(lw_registers_plan(&profile, UINT32_MAX, blocks), 2);
    expect_block(&blocks[0], 3, 0, 120);
    expect_block(&blocks[1], 3, 120, 6);
    lw_json_free(&lw_profile_shape, &profile);
}

// MODBUS Application Protocol V1.1b3, 6.3: register 107 counted from 0, three of them, is
// 03 00 6B 00 03.
static void block_request_is_a_read(void **state)
{
    (void)state;
    static const uint8_t wanted[] = {0x03, 0x00, 0x6B, 0x00, 0x03};
    struct lw_pdu pdu = lw_block_request(&(struct lw_block){3, 107, 3});
    assert_int_equal(pdu.count, sizeof wanted);
    assert_memory_equal(pdu.bytes, wanted, sizeof wanted);
}

// A reply to a block of two words.
static struct lw_pdu two_words(uint16_t first, uint16_t second)
{
    return (struct lw_pdu){.count = 6,
                           .bytes = {3, 4, (uint8_t)(first >> 8), (uint8_t)first,
                                     (uint8_t)(second >> 8), (uint8_t)second}};
}

static const struct lw_block pair = {3, 0, 2};

static struct lw_value decode(const struct lw_register *reg, uint16_t first, uint16_t second)
{
    struct lw_value value;
    struct lw_error error = {0};
    struct lw_pdu reply = two_words(first, second);
    if (lw_register_decode(reg, &pair, &reply, &value, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    return value;
}

static void expect_garbled(const struct lw_register *reg, uint16_t first, uint16_t second)
{
    struct lw_value value;
    struct lw_pdu reply = two_words(first, second);
    assert_int_equal(lw_register_decode(reg, &pair, &reply, &value, NULL), LW_GARBLED);
}

static void whole_numbers_decode_in_both_word_orders(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .type = LW_U16, .scale = 0.01};
    assert_true(decode(&reg, 2400, 0).number == 2400 * 0.01);
    reg = (struct lw_register){.function = 3, .at = 1, .type = LW_I16, .scale = 1};
    assert_true(decode(&reg, 0, 0xFFFE).number == -2);
    reg = (struct lw_register){.function = 3, .type = LW_U32, .scale = 1};
    assert_true(decode(&reg, 0x1234, 0x5678).number == 0x12345678);
    reg.word_order = LW_LOW_FIRST;
    assert_true(decode(&reg, 0x1234, 0x5678).number == 0x56781234);
    reg.type = LW_I32;
    assert_true(decode(&reg, 0xFFFF, 0xFFFF).number == -1);
}

static void serials_keep_all_their_digits_as_text(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .type = LW_U32, .scale = 1};
    assert_string_equal(decode(&reg, 0xFFFF, 0xFFFF).text, "4294967295");
    assert_string_equal(decode(&reg, 0x0001, 0x86A1).text, "100001");
}

// IEEE 754: 0x40490FDB is the single nearest to pi, 3.14159274...
static void floats_decode_and_what_is_no_number_is_refused(void **state)
{
    (void)state;
    struct lw_register reg = {
        .function = 3, .type = LW_F32, .scale = 2, .offset = 1, .unit = (char[]){"mm"}};
    struct lw_value value = decode(&reg, 0x4049, 0x0FDB);
    assert_true(fabs(value.number - (2 * 3.14159274101257 + 1)) < 1e-12);
    assert_string_equal(value.unit, "mm");
    reg.word_order = LW_LOW_FIRST;
    assert_true(fabs(decode(&reg, 0x0FDB, 0x4049).number - 7.28318548202514) < 1e-12);
    reg.word_order = LW_HIGH_FIRST;
    expect_garbled(&reg, 0x7FC0, 0);
    expect_garbled(&reg, 0x7F80, 0);
}

static void dates_become_days_since_1970(void **state)
{
    (void)state;
    // 20 783 days lie between 1970-01-01 and 2026-11-26 (56 years with 14 leap days, and 329 days).
    struct lw_register reg = {.function = 3, .type = LW_U32, .encoding = LW_YYYYMMDD, .scale = 1};
    struct lw_value value = decode(&reg, 20261126 >> 16, 20261126 & 0xFFFF);
    assert_true(value.number == 20783);
    assert_string_equal(value.text, "2026-11-26");
    expect_garbled(&reg, 20261326 >> 16, 20261326 & 0xFFFF);
    reg.encoding = LW_DAYS_SINCE_1970;
    value = decode(&reg, 0, 20783);
    assert_true(value.number == 20783);
    assert_string_equal(value.text, "2026-11-26");
}

static void decimal_digits_in_four_bits_decode(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .type = LW_U32, .encoding = LW_BCD, .scale = 1};
    assert_true(decode(&reg, 0x1234, 0x5678).number == 12345678);
    expect_garbled(&reg, 0x0000, 0x000A);
}

static void text_is_cut_at_its_end_and_cleaned(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .type = LW_REGISTER_TEXT, .length = 4};
    assert_string_equal(decode(&reg, 0x4142, 0x4320).text, "ABC");
    assert_string_equal(decode(&reg, 0x4142, 0x0043).text, "AB");
    assert_string_equal(decode(&reg, 0x411B, 0x4243).text, "A?BC");
    assert_true(decode(&reg, 0x4142, 0x4320).is_text);
    reg.length = 3;
    assert_string_equal(decode(&reg, 0x4142, 0x4344).text, "ABC");
}

static void bits_decode_lowest_first(void **state)
{
    (void)state;
    struct lw_block block = {1, 100, 10};
    struct lw_pdu reply = {.count = 4, .bytes = {1, 2, 0x04, 0x02}};
    struct lw_register reg = {.function = 1, .at = 102, .type = LW_BIT, .scale = 1};
    struct lw_value value;
    assert_int_equal(lw_register_decode(&reg, &block, &reply, &value, NULL), LW_OK);
    assert_true(value.number == 1);
    reg.at = 109;
    assert_int_equal(lw_register_decode(&reg, &block, &reply, &value, NULL), LW_OK);
    assert_true(value.number == 1);
    reg.at = 103;
    assert_int_equal(lw_register_decode(&reg, &block, &reply, &value, NULL), LW_OK);
    assert_true(value.number == 0);
}

static void short_or_strange_replies_are_garbled_and_others_usage(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .at = 1, .type = LW_U16, .scale = 1};
    struct lw_value value;
    struct lw_pdu reply = two_words(1, 2);
    for (reply.count = 0; reply.count < 6; reply.count++) {
        assert_int_equal(lw_register_decode(&reg, &pair, &reply, &value, NULL), LW_GARBLED);
    }
    reply.bytes[1] = 6;
    assert_int_equal(lw_register_decode(&reg, &pair, &reply, &value, NULL), LW_GARBLED);
    reg.at = 2;
    assert_int_equal(lw_register_decode(&reg, &pair, &reply, &value, NULL), LW_USAGE);
    reg.at = 1;
    reg.type = LW_U32;
    assert_int_equal(lw_register_decode(&reg, &pair, &reply, &value, NULL), LW_USAGE);
}

// What is encoded decodes to the same, for every type, order and encoding that goes together.
static void encoding_is_the_other_way_of_decoding(void **state)
{
    (void)state;
    static const struct {
        int type, encoding;
        double number;
    } rows[] = {
        {LW_U16, LW_ENCODING_PLAIN, 65535},
        {LW_I16, LW_ENCODING_PLAIN, -32768},
        {LW_U32, LW_ENCODING_PLAIN, 4294967295.},
        {LW_I32, LW_ENCODING_PLAIN, -2147483648.},
        {LW_F32, LW_ENCODING_PLAIN, -0.15625},
        {LW_U32, LW_DAYS_SINCE_1970, 20783},
        {LW_U32, LW_YYYYMMDD, 20783},
        {LW_U32, LW_BCD, 12345678},
        {LW_U16, LW_BCD, 9876},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        for (int order = LW_HIGH_FIRST; order <= LW_LOW_FIRST; order++) {
            struct lw_register reg = {.function = 3,
                                      .type = rows[i].type,
                                      .encoding = rows[i].encoding,
                                      .word_order = order,
                                      .scale = 1};
            uint16_t words[2] = {0};
            assert_int_equal(lw_register_encode(&reg, rows[i].number, NULL, words, 2),
                             lw_register_words(&reg));
            assert_true(decode(&reg, words[0], words[1]).number == rows[i].number);
        }
    }
}

static void encoding_holds_at_the_ends_of_the_type(void **state)
{
    (void)state;
    struct lw_register reg = {.function = 3, .type = LW_U16, .scale = 0.01};
    uint16_t words[2] = {0};
    lw_register_encode(&reg, 24.126, NULL, words, 2);
    assert_int_equal(words[0], 2413);
    lw_register_encode(&reg, -5, NULL, words, 2);
    assert_int_equal(words[0], 0);
    lw_register_encode(&reg, 1e9, NULL, words, 2);
    assert_int_equal(words[0], 65535);
    reg = (struct lw_register){.function = 3, .type = LW_REGISTER_TEXT, .length = 3};
    assert_int_equal(lw_register_encode(&reg, 0, "ABCDE", words, 2), 2);
    assert_int_equal(words[0], 0x4142);
    assert_int_equal(words[1] >> 8, 0x43);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(neighbours_travel_together),
        cmocka_unit_test(wide_gap_makes_two_blocks),
        cmocka_unit_test(register_that_clears_on_read_is_left_alone),
        cmocka_unit_test(block_is_never_longer_than_one_read_may_be),
        cmocka_unit_test(block_request_is_a_read),
        cmocka_unit_test(whole_numbers_decode_in_both_word_orders),
        cmocka_unit_test(serials_keep_all_their_digits_as_text),
        cmocka_unit_test(floats_decode_and_what_is_no_number_is_refused),
        cmocka_unit_test(dates_become_days_since_1970),
        cmocka_unit_test(decimal_digits_in_four_bits_decode),
        cmocka_unit_test(text_is_cut_at_its_end_and_cleaned),
        cmocka_unit_test(bits_decode_lowest_first),
        cmocka_unit_test(short_or_strange_replies_are_garbled_and_others_usage),
        cmocka_unit_test(encoding_is_the_other_way_of_decoding),
        cmocka_unit_test(encoding_holds_at_the_ends_of_the_type),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
