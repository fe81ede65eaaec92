// SPDX-License-Identifier: GPL-3.0-or-later
//
// The decoder against RFC 3629: its examples (section 7), its limits (section 4), and every code
// point there and back.
#include "base/utf8.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void the_examples_of_the_standard_decode(void **state)
{
    (void)state;
    uint32_t code;
    assert_int_equal(lw_utf8_next("A\xe2\x89\xa2", 4, &code), 1);
    assert_int_equal(code, 0x41);
    assert_int_equal(lw_utf8_next("\xe2\x89\xa2\xce\x91.", 6, &code), 3);
    assert_int_equal(code, 0x2262);
    assert_int_equal(lw_utf8_next("\xce\x91.", 3, &code), 2);
    assert_int_equal(code, 0x391);
    assert_int_equal(lw_utf8_next("\xf0\xa3\x8e\xb4", 4, &code), 4);
    assert_int_equal(code, 0x233b4);
}

static void every_code_point_comes_back(void **state)
{
    (void)state;
    for (uint32_t code = 0; code <= 0x10ffff; code++) {
        char bytes[4];
        uint32_t back = 0;
        if (code >= 0xd800 && code <= 0xdfff) {
            continue;
        }
        size_t length = lw_utf8_encode(code, bytes);
        assert_true(lw_utf8_next(bytes, length, &back) == length && back == code);
        assert_true(length == 1 || lw_utf8_next(bytes, length - 1, &back) == 0);
    }
}

static void what_the_standard_forbids_is_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "\x80",
        "\xbf",
        "\xc0\xaf",
        "\xc1\xbf",
        "\xe0\x9f\xbf",
        "\xed\xa0\x80",
        "\xed\xbf\xbf",
        "\xf0\x8f\xbf\xbf",
        "\xf4\x90\x80\x80",
        "\xf5\x80\x80\x80",
        "\xff",
        "\xc2",
        "\xe2\x82",
        "\xe2\x28\xa1",
        "\xf0\x9f\x98",
        "\xf8\x88\x80\x80",
        "\xc2\xc2",
    };
    uint32_t code;
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        assert_int_equal(lw_utf8_next(wrong[i], strlen(wrong[i]), &code), 0);
        assert_false(lw_utf8_valid(wrong[i], strlen(wrong[i])));
    }
    assert_int_equal(lw_utf8_next("", 0, &code), 0);
    assert_true(lw_utf8_valid("", 0));
}

static void a_cut_sequence_is_left_out_whole(void **state)
{
    (void)state;
    assert_int_equal(lw_utf8_whole("ab\xe2\x82\xac", 5), 5);
    assert_int_equal(lw_utf8_whole("ab\xe2\x82\xac", 4), 2);
    assert_int_equal(lw_utf8_whole("ab\xe2\x82\xac", 3), 2);
    assert_int_equal(lw_utf8_whole("ab\xe2\x82\xac", 2), 2);
    assert_int_equal(lw_utf8_whole("\xf0\x9f\x98\x80", 3), 0);
    assert_int_equal(lw_utf8_whole("\x80\x80\x80\x80", 4), 4);
    assert_int_equal(lw_utf8_whole("", 0), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_examples_of_the_standard_decode),
        cmocka_unit_test(every_code_point_comes_back),
        cmocka_unit_test(what_the_standard_forbids_is_refused),
        cmocka_unit_test(a_cut_sequence_is_left_out_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
