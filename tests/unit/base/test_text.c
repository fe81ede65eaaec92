// SPDX-License-Identifier: GPL-3.0-or-later
//
// Growing, bounded and cleaned text.
#include "base/text.h"

#include "base/utf8.h"

#include <locale.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void text_grows_and_stays_terminated(void **state)
{
    (void)state;
    struct lw_text text = {0};
    for (int i = 0; i < 1000; i++) {
        lw_text_add(&text, "%d,", i % 10);
        assert_int_equal(strlen(text.bytes), text.length);
    }
    assert_int_equal(text.length, 2000);
    lw_text_clear(&text);
    assert_string_equal(text.bytes, "");
    lw_text_put(&text, "a\0b", 3);
    assert_int_equal(text.length, 3);
    assert_int_equal(lw_text_check(&text, NULL), LW_OK);
    lw_text_finish(&text);
    lw_text_finish(NULL);
    assert_null(text.bytes);
}

static void a_text_too_large_fails_once_for_all(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    lw_text_put(&text, "a", 1);
    lw_text_put(&text, "b", SIZE_MAX - 1);
    lw_text_put(&text, "c", 1);
    assert_string_equal(text.bytes, "a");
    assert_int_equal(lw_text_check(&text, &error), LW_MEMORY);
    lw_text_clear(&text);
    assert_int_equal(lw_text_check(&text, &error), LW_OK);
    lw_text_finish(&text);
}

static void assert_cleaned(const char *from, size_t count, const char *expected)
{
    char to[100];
    assert_int_equal(lw_text_clean(to, sizeof to, from, count), strlen(expected));
    assert_string_equal(to, expected);
}

#define CLEANED(from, expected) assert_cleaned(from, sizeof(from) - 1, expected)

static void controls_become_question_marks(void **state)
{
    (void)state;
    CLEANED("plain \xc2\xb5m \xf0\x9f\x98\x80", "plain \xc2\xb5m \xf0\x9f\x98\x80");
    CLEANED("a\0b\tc\n\x1b[31m\x7f", "a?b?c??[31m?");
    CLEANED("\xc2\x80\xc2\x9b\xc2\xa0", "??\xc2\xa0");
    CLEANED("\xe2\x80\xaa\xe2\x80\xae\xe2\x81\xa6\xe2\x81\xa9\xe2\x80\x8e\xd8\x9c", "??????");
    CLEANED("\xe2\x80\xa8\xe2\x80\xa9", "??");
}

static void broken_bytes_become_the_replacement_character(void **state)
{
    (void)state;
    CLEANED("a\xff", "a\xef\xbf\xbd");
    CLEANED("\xe2\x82", "\xef\xbf\xbd\xef\xbf\xbd");
    CLEANED("\xc0\x80", "\xef\xbf\xbd\xef\xbf\xbd");
    CLEANED("\xed\xa0\x80", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd");
}

static void cleaned_text_is_cut_at_a_whole_character(void **state)
{
    (void)state;
    char to[5];
    assert_int_equal(lw_text_clean(to, sizeof to, "ab\xe2\x82\xac", 5), 2);
    assert_string_equal(to, "ab");
    assert_int_equal(lw_text_clean(to, 1, "ab", 2), 0);
    assert_string_equal(to, "");
}

static void any_bytes_come_out_valid_and_without_controls(void **state)
{
    (void)state;
    uint32_t seed = 1;
    for (int round = 0; round < 20000; round++) {
        char from[24], to[40];
        for (size_t i = 0; i < sizeof from; i++) {
            seed = seed * 1664525U + 1013904223U;
            from[i] = (char)(seed >> 24);
        }
        size_t length = lw_text_clean(to, 1 + (size_t)round % sizeof to, from, sizeof from);
        assert_true(lw_utf8_valid(to, length));
        for (size_t i = 0; i < length; i++) {
            assert_true((unsigned char)to[i] >= 0x20 && to[i] != 0x7f);
        }
    }
}

static void bounded_copies_say_when_they_cut(void **state)
{
    (void)state;
    char to[4];
    assert_true(lw_copy(to, sizeof to, "abc"));
    assert_false(lw_copy(to, sizeof to, "abcd"));
    assert_string_equal(to, "abc");
    assert_false(lw_copy(to, sizeof to, "ab\xc2\xb5"));
    assert_string_equal(to, "ab");
    assert_true(lw_print(to, sizeof to, "%d", 123));
    assert_false(lw_print(to, sizeof to, "a%s", "\xe2\x82\xac"));
    assert_string_equal(to, "a");
    assert_false(lw_copy(to, 0, ""));
    assert_false(lw_print(to, 0, "%s", ""));
}

static void duplicates_are_separate(void **state)
{
    (void)state;
    char *copy = lw_duplicate("x");
    assert_string_equal(copy, "x");
    free(copy);
    assert_null(lw_duplicate(NULL));
}

static void columns_need_no_locale(void **state)
{
    (void)state;
    assert_int_equal(lw_text_columns(""), 0);
    assert_int_equal(lw_text_columns("\xc2\xb5m"), 2);
    assert_int_equal(lw_text_columns("e\xcc\x81"), 1);
    assert_int_equal(lw_text_columns("\xe6\xbc\xa2\xe5\xad\x97"), 4);
    assert_int_equal(lw_text_columns("\xe2\x82\xac\xe2\x94\x80"), 2);
    assert_int_equal(lw_text_columns("a\xff"), 2);
}

// POSIX, but hidden by the feature macros of this build.
int wcwidth(wchar_t code);

// The letters, marks and signs of the languages a report is likely to be written in, against the C
// library's own table.
static void columns_agree_with_the_c_library(void **state)
{
    (void)state;
    static const struct {
        uint32_t first, last;
    } blocks[] = {{0x20, 0x7e},     {0xa1, 0xac},     {0xae, 0x377},    {0x384, 0x38a},
                  {0x400, 0x52f},   {0x1e00, 0x1eff}, {0x20a0, 0x20bf}, {0x2190, 0x22ff},
                  {0x2500, 0x259f}, {0x3041, 0x3096}, {0x30a0, 0x30ff}, {0x4e00, 0x9fff},
                  {0xac00, 0xd7a3}, {0xff01, 0xff60}};
    if (setlocale(LC_CTYPE, "C.UTF-8") == NULL) {
        skip();
    }
    for (size_t i = 0; i < sizeof blocks / sizeof blocks[0]; i++) {
        for (uint32_t code = blocks[i].first; code <= blocks[i].last; code++) {
            char text[5] = "";
            lw_utf8_encode(code, text);
            int theirs = wcwidth((wchar_t)code);
            if (theirs >= 0 && lw_text_columns(text) != (size_t)theirs) {
                fail_msg("U+%04X: %zu, wcwidth says %d", (unsigned)code, lw_text_columns(text),
                         theirs);
            }
        }
    }
    setlocale(LC_CTYPE, "C");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_grows_and_stays_terminated),
        cmocka_unit_test(a_text_too_large_fails_once_for_all),
        cmocka_unit_test(controls_become_question_marks),
        cmocka_unit_test(broken_bytes_become_the_replacement_character),
        cmocka_unit_test(cleaned_text_is_cut_at_a_whole_character),
        cmocka_unit_test(any_bytes_come_out_valid_and_without_controls),
        cmocka_unit_test(bounded_copies_say_when_they_cut),
        cmocka_unit_test(duplicates_are_separate),
        cmocka_unit_test(columns_need_no_locale),
        cmocka_unit_test(columns_agree_with_the_c_library),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
