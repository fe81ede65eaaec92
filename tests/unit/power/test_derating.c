// SPDX-License-Identifier: GPL-3.0-or-later
//
// The derating curve between and beyond its points.
#include "power/derating.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static const struct lw_derating_point curve[] = {{40.0, 1.0}, {60.0, 0.6}, {70.0, 0.0}};

static void lies_on_straight_lines_between_points(void **state)
{
    (void)state;
    assert_true(fabs(lw_derating_fraction(curve, 3, 50.0) - 0.8) < 1e-12);
    assert_true(fabs(lw_derating_fraction(curve, 3, 65.0) - 0.3) < 1e-12);
    assert_true(fabs(lw_derating_fraction(curve, 3, 60.0) - 0.6) < 1e-12);
}

static void stays_at_its_end_values_beyond_its_ends(void **state)
{
    (void)state;
    assert_true(lw_derating_fraction(curve, 2, -20.0) == 1.0);
    assert_true(lw_derating_fraction(curve, 2, 85.0) == 0.6);
}

static void is_one_without_points(void **state)
{
    (void)state;
    assert_true(lw_derating_fraction(NULL, 0, 55.0) == 1.0);
}

static void refuses_unsorted_and_impossible_points(void **state)
{
    (void)state;
    struct lw_error error = {0};
    const struct lw_derating_point falling[] = {{60.0, 0.6}, {40.0, 1.0}};
    const struct lw_derating_point over[] = {{40.0, 1.2}};
    const struct lw_derating_point no_number[] = {{NAN, 1.0}};
    assert_int_equal(lw_derating_check(curve, 3, &error), LW_OK);
    assert_int_equal(lw_derating_check(falling, 2, &error), LW_BAD_FILE);
    assert_int_equal(lw_derating_check(over, 1, &error), LW_BAD_FILE);
    assert_int_equal(lw_derating_check(no_number, 1, &error), LW_BAD_FILE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lies_on_straight_lines_between_points),
        cmocka_unit_test(stays_at_its_end_values_beyond_its_ends),
        cmocka_unit_test(is_one_without_points),
        cmocka_unit_test(refuses_unsorted_and_impossible_points),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
