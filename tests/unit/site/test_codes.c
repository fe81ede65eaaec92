// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of findings, walked row by row.
#include "site/record.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void every_row_has_what_the_engineer_needs(void **state)
{
    (void)state;
    for (const struct lw_code *row = lw_codes; row->code; row++) {
        assert_true(row->check && row->check[0]);
        assert_true(row->title && row->title[0]);
        assert_true(row->next && row->next[0]);
        assert_true(!row->caution || row->caution[0]);
    }
}

static void every_code_stands_once_and_begins_with_its_check(void **state)
{
    (void)state;
    for (const struct lw_code *row = lw_codes; row->code; row++) {
        assert_ptr_equal(lw_code_find(row->code), row);
        size_t length = strlen(row->check);
        assert_int_equal(strncmp(row->code, row->check, length), 0);
        assert_int_equal(row->code[length], '_');
    }
}

static void unknown_code_is_not_found(void **state)
{
    (void)state;
    assert_null(lw_code_find("link_no_such_thing"));
}

static unsigned holes(const char *text)
{
    unsigned count = 0;
    for (const char *at = text; at && (at = strchr(at, '%')) != NULL; at++) {
        assert_int_equal(at[1], 's');
        count++;
    }
    return count;
}

static void texts_have_at_most_one_place_for_a_name(void **state)
{
    (void)state;
    for (const struct lw_code *row = lw_codes; row->code; row++) {
        assert_true(holes(row->next) <= 1);
        assert_true(holes(row->caution) <= 1);
        assert_int_equal(holes(row->title), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_row_has_what_the_engineer_needs),
        cmocka_unit_test(every_code_stands_once_and_begins_with_its_check),
        cmocka_unit_test(unknown_code_is_not_found),
        cmocka_unit_test(texts_have_at_most_one_place_for_a_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
