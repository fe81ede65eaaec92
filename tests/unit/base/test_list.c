// SPDX-License-Identifier: GPL-3.0-or-later
//
// The growing array.
#include "base/list.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>

#include <cmocka.h>

static void items_are_zeroed_and_kept(void **state)
{
    (void)state;
    struct lw_list list = {0};
    for (int i = 0; i < 1000; i++) {
        int *item = lw_list_add(&list, sizeof *item);
        assert_int_equal(*item, 0);
        *item = i;
    }
    assert_int_equal(list.count, 1000);
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(((int *)list.items)[i], i);
    }
    free(list.items);
}

static void items_may_be_taken_off_the_end(void **state)
{
    (void)state;
    struct lw_list list = {0};
    for (int round = 0; round < 20; round++) {
        for (int i = 0; i < round * 7; i++) {
            int *item = lw_list_add(&list, sizeof *item);
            assert_int_equal(*item, 0);
            *item = -1;
        }
        list.count /= 3;
    }
    free(list.items);
}

static void what_cannot_be_addressed_is_refused(void **state)
{
    (void)state;
    struct lw_list list = {0};
    assert_null(lw_list_add(&list, SIZE_MAX / 2));
    assert_int_equal(list.count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(items_are_zeroed_and_kept),
        cmocka_unit_test(items_may_be_taken_off_the_end),
        cmocka_unit_test(what_cannot_be_addressed_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
