// SPDX-License-Identifier: GPL-3.0-or-later
//
// The error record: what it says, where, and that it is never overflown.
#include "base/error.h"

#include "base/utf8.h"

#include <errno.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void a_failure_is_returned_and_kept(void **state)
{
    (void)state;
    struct lw_error error = {.context = "old"};
    assert_int_equal(lw_fail(&error, LW_USAGE, "'%s' is no %s", "x", "number"), LW_USAGE);
    assert_int_equal(error.status, LW_USAGE);
    assert_string_equal(error.says, "'x' is no number");
    assert_string_equal(error.context, "");
}

static void nobody_has_to_listen(void **state)
{
    (void)state;
    assert_int_equal(lw_fail(NULL, LW_BAD_FILE, "x"), LW_BAD_FILE);
    assert_int_equal(lw_fail_errno(NULL, ENOENT, "x"), LW_SYSTEM);
    assert_int_not_equal(lw_error_within(NULL, "x"), LW_OK);
}

static void the_systems_reason_stands_behind_the_sentence(void **state)
{
    (void)state;
    struct lw_error error = {0};
    assert_int_equal(lw_fail_errno(&error, ENOENT, "can't open '%s'", "a"), LW_SYSTEM);
    assert_string_equal(error.says, "can't open 'a': No such file or directory");
}

static void places_nest_outwards(void **state)
{
    (void)state;
    struct lw_error error = {0};
    char text[600];
    lw_fail(&error, LW_BAD_FILE, "/chain: missing");
    assert_string_equal(lw_error_text(&error, text, sizeof text), "/chain: missing");
    assert_int_equal(lw_error_within(&error, "plan '%s'", "a.json"), LW_BAD_FILE);
    lw_error_within(&error, "visit 'v'");
    assert_string_equal(lw_error_text(&error, text, sizeof text),
                        "visit 'v': plan 'a.json': /chain: missing");
}

static void the_records_own_text_may_be_said_again(void **state)
{
    (void)state;
    struct lw_error error = {0};
    lw_fail(&error, LW_BAD_FILE, "inner");
    lw_fail(&error, LW_USAGE, "outer: %s", error.says);
    assert_string_equal(error.says, "outer: inner");
    lw_error_within(&error, "within %s", error.says);
    assert_string_equal(error.context, "within outer: inner");
}

static void long_text_is_cut_at_a_whole_character(void **state)
{
    (void)state;
    struct lw_error error = {0};
    char text[4 * LW_ERROR_SAYS + 1], cut[50];
    for (size_t shift = 0; shift < 3; shift++) {
        memset(text, 'x', shift);
        for (size_t at = shift; at + 3 < sizeof text; at += 3) {
            memcpy(text + at, "\xe2\x82\xac", 4);
        }
        lw_fail(&error, LW_USAGE, "%s", text);
        lw_error_within(&error, "%s", text);
        lw_error_within(&error, "%s", text);
        assert_in_range(strlen(error.says), LW_ERROR_SAYS - 4, LW_ERROR_SAYS - 1);
        assert_in_range(strlen(error.context), LW_ERROR_CONTEXT - 4, LW_ERROR_CONTEXT - 1);
        assert_true(lw_utf8_valid(error.says, strlen(error.says)));
        assert_true(lw_utf8_valid(error.context, strlen(error.context)));
        lw_error_text(&error, cut, sizeof cut);
        assert_true(lw_utf8_valid(cut, strlen(cut)));
    }
}

static void every_status_has_a_word_of_its_own(void **state)
{
    (void)state;
    for (int i = LW_OK; i <= LW_CANCELLED; i++) {
        assert_non_null(lw_status_word((enum lw_status)i));
        for (int j = LW_OK; j < i; j++) {
            assert_string_not_equal(lw_status_word((enum lw_status)i),
                                    lw_status_word((enum lw_status)j));
        }
    }
    assert_string_equal(lw_status_word(LW_BAD_FILE), "bad_file");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_failure_is_returned_and_kept),
        cmocka_unit_test(nobody_has_to_listen),
        cmocka_unit_test(the_systems_reason_stands_behind_the_sentence),
        cmocka_unit_test(places_nest_outwards),
        cmocka_unit_test(the_records_own_text_may_be_said_again),
        cmocka_unit_test(long_text_is_cut_at_a_whole_character),
        cmocka_unit_test(every_status_has_a_word_of_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
