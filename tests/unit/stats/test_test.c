// SPDX-License-Identifier: GPL-3.0-or-later
//
// The gear example of the NIST/SEMATECH e-Handbook, and groups made to spread differently.
#include "stats/test.h"
#include "data.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static void brown_forsythe_gives_the_handbooks_gear_example(void **state)
{
    (void)state;
    // NIST/SEMATECH e-Handbook 1.3.5.10 (eda35a) prints W = 1.705910; SciPy's test suite has
    // 1.7059176930008939 and p 0.0990829755522, and exact arithmetic gives 5679/3329.
    static const size_t group_n[10] = {10, 10, 10, 10, 10, 10, 10, 10, 10, 10};
    double value[200];
    assert_int_equal(data_read("strd/gear.csv", value, 200), 100);
    struct lw_test_result result;
    assert_int_equal(lw_test_levene(LW_ABOUT_MEDIAN, value, group_n, 10, &result, NULL), LW_OK);
    assert_true(fabs(result.statistic - 1.705910) < 1e-5);
    assert_true(fabs(result.statistic - 5679.0 / 3329.0) < 1e-10);
    assert_true(fabs(result.p - 0.0990829755522) < 1e-10);
    assert_true(result.dof_above == 9 && result.dof_below == 90);
    // About the mean: SciPy's levene(center='mean') on the same data.
    assert_int_equal(lw_test_levene(LW_ABOUT_MEAN, value, group_n, 10, &result, NULL), LW_OK);
    assert_true(fabs(result.statistic - 2.1594599) < 5e-8);
    assert_true(fabs(result.p - 0.0322368) < 5e-8);
}

static void a_wider_group_is_told_apart(void **state)
{
    (void)state;
    static const size_t group_n[2] = {100, 80};
    double value[180];
    struct lw_random key = {1, 1, 1};
    for (size_t i = 0; i < 180; i++) {
        value[i] = 10 + (i < 100 ? 1 : 2) * lw_random_normal(key, i);
    }
    struct lw_test_result result;
    assert_int_equal(lw_test_levene(LW_ABOUT_MEDIAN, value, group_n, 2, &result, NULL), LW_OK);
    assert_true(result.p < 1e-4);
}

static void equal_spread_is_called_different_as_often_as_said(void **state)
{
    (void)state;
    // 400 comparisons at 5 %: 20 expected, binomial standard deviation 4.4.
    static const size_t group_n[3] = {30, 30, 40};
    int called = 0;
    for (uint32_t run = 0; run < 400; run++) {
        double value[100];
        for (size_t i = 0; i < 100; i++) {
            value[i] = lw_random_normal((struct lw_random){3, run, 1}, i);
        }
        struct lw_test_result result;
        assert_int_equal(lw_test_levene(LW_ABOUT_MEDIAN, value, group_n, 3, &result, NULL), LW_OK);
        called += result.p < 0.05;
    }
    assert_true(called > 3 && called < 40);
}

static void groups_without_spread_or_size_are_refused(void **state)
{
    (void)state;
    static const double value[4] = {1, 1, 2, 2};
    static const size_t pairs[2] = {2, 2}, lopsided[2] = {3, 1};
    struct lw_test_result result;
    assert_int_equal(lw_test_levene(LW_ABOUT_MEAN, value, pairs, 2, &result, NULL), LW_GARBLED);
    assert_int_equal(lw_test_levene(LW_ABOUT_MEAN, value, lopsided, 2, &result, NULL), LW_USAGE);
    assert_int_equal(lw_test_levene(LW_ABOUT_MEAN, value, pairs, 1, &result, NULL), LW_USAGE);
    assert_true(isnan(result.p));
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(brown_forsythe_gives_the_handbooks_gear_example),
        cmocka_unit_test(a_wider_group_is_told_apart),
        cmocka_unit_test(equal_spread_is_called_different_as_often_as_said),
        cmocka_unit_test(groups_without_spread_or_size_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
