// SPDX-License-Identifier: GPL-3.0-or-later
//
// Framing as text and as time.
#include "line/line.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void every_usual_framing_reads_back_as_it_was_written(void **state)
{
    (void)state;
    static const char *const texts[] = {"19200/8E1", "9600/8N2",    "115200/8N1",
                                        "1200/7O1",  "4000000/7E2", "50/8N1"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct lw_framing framing = {0};
        char text[LW_FRAMING_TEXT];
        assert_int_equal(lw_framing_parse(texts[i], &framing, NULL), LW_OK);
        lw_framing_text(&framing, text);
        assert_string_equal(text, texts[i]);
    }
}

static void a_small_letter_for_the_parity_is_taken(void **state)
{
    (void)state;
    struct lw_framing framing = {0};
    assert_int_equal(lw_framing_parse("9600/8n1", &framing, NULL), LW_OK);
    assert_int_equal(framing.parity, 'N');
}

static void what_is_no_framing_is_refused_and_leaves_the_result_alone(void **state)
{
    (void)state;
    static const char *const texts[] = {"",
                                        "19200",
                                        "/8E1",
                                        "19200/8E",
                                        "19200/8E11",
                                        "19200/8X1",
                                        "19200/9N1",
                                        "19200/8N3",
                                        "-1/8N1",
                                        " 9600/8N1",
                                        "9600/8N1 ",
                                        "+9600/8N1",
                                        "09600/8N1",
                                        "49/8N1",
                                        "4000001/8N1",
                                        "9600/8N1/8N1",
                                        "99999999999999999999/8N1"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct lw_framing framing = {.rate = 7};
        struct lw_error error = {0};
        assert_int_equal(lw_framing_parse(texts[i], &framing, &error), LW_USAGE);
        assert_int_equal(framing.rate, 7);
        assert_true(error.says[0] == '\'');
    }
}

static void a_modbus_character_has_eleven_bits(void **state)
{
    (void)state;
    // MODBUS over Serial Line V1.02, 2.5.1: start, 8 data, parity, stop; without parity 2 stop
    // bits.
    assert_int_equal(lw_framing_bits(&(struct lw_framing){19200, 8, 'E', 1}), 11);
    assert_int_equal(lw_framing_bits(&(struct lw_framing){19200, 8, 'N', 2}), 11);
    assert_int_equal(lw_framing_bits(&(struct lw_framing){19200, 8, 'N', 1}), 10);
    assert_int_equal(lw_framing_bits(&(struct lw_framing){19200, 7, 'O', 2}), 11);
}

static void the_silence_between_frames_follows_the_standard(void **state)
{
    (void)state;
    // MODBUS over Serial Line V1.02, 2.5.1.1: 3.5 characters, above 19200 bit/s fixed 1.750 ms.
    struct lw_framing framing = {19200, 8, 'E', 1};
    assert_int_equal(lw_framing_t35_ns(&framing), 2005208); // 3.5 * 11 / 19200 s
    framing.rate = 9600;
    assert_int_equal(lw_framing_t35_ns(&framing), 4010417); // 3.5 * 11 / 9600 s
    framing.rate = 19201;
    assert_int_equal(lw_framing_t35_ns(&framing), 1750000);
    framing.rate = 115200;
    assert_int_equal(lw_framing_t35_ns(&framing), 1750000);
}

static void a_week_of_characters_does_not_overflow(void **state)
{
    (void)state;
    struct lw_framing framing = {4000000, 8, 'E', 1};
    assert_int_equal(lw_framing_chars_ns(&framing, 4000000), 11 * INT64_C(1000000000));
    framing.rate = 50;
    assert_int_equal(lw_framing_chars_ns(&framing, 5000000), 1100000 * INT64_C(1000000000));
    framing.rate = 3;
    assert_int_equal(lw_framing_chars_ns(&framing, 1), INT64_C(3666666667));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_usual_framing_reads_back_as_it_was_written),
        cmocka_unit_test(a_small_letter_for_the_parity_is_taken),
        cmocka_unit_test(what_is_no_framing_is_refused_and_leaves_the_result_alone),
        cmocka_unit_test(a_modbus_character_has_eleven_bits),
        cmocka_unit_test(the_silence_between_frames_follows_the_standard),
        cmocka_unit_test(a_week_of_characters_does_not_overflow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
