// SPDX-License-Identifier: GPL-3.0-or-later
//
// Regular and dithered poll times.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/times.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { N = 1000 };

static double time_s[N];

static void make(double interval_s, double dither_s)
{
    struct lw_random key = {1, 1, 1};
    for (size_t i = 0; i < N; i++) {
        time_s[i] = interval_s * (double)i + dither_s * lw_random_uniform(key, i);
    }
}

static void regular_times_repeat_wholly_at_their_rate(void **state)
{
    (void)state;
    struct lw_times_repeat repeat;
    make(0.1, 0);
    assert_int_equal(lw_times_repeat(time_s, N, 15, &repeat, NULL), LW_OK);
    assert_true(fabs(repeat.repeat_hz - 10) < 0.005);
    assert_true(repeat.share > 0.9);
}

static void dither_by_an_interval_leaves_no_repeat(void **state)
{
    (void)state;
    struct lw_times_repeat repeat;
    make(0.1, 0.1);
    assert_int_equal(lw_times_repeat(time_s, N, 55, &repeat, NULL), LW_OK);
    assert_true(repeat.share < 0.05);
}

static void dither_by_half_an_interval_repeats_by_its_sinc(void **state)
{
    (void)state;
    // Uniform dither of width w leaves sinc^2(f w) at multiples of the rate: 0.405 at 10 Hz, 50 ms.
    struct lw_times_repeat repeat;
    make(0.1, 0.05);
    assert_int_equal(lw_times_repeat(time_s, N, 15, &repeat, NULL), LW_OK);
    assert_true(fabs(repeat.share - 4 / (M_PI * M_PI)) < 0.05);
}

static void fifty_hertz_folds_when_polls_are_regular_and_slow(void **state)
{
    (void)state;
    double share = 0;
    make(0.1, 0);
    assert_int_equal(lw_times_folding(time_s, N, 50, &share, NULL), LW_OK);
    assert_true(share > 0.9);
    make(0.1, 0.03);
    assert_int_equal(lw_times_folding(time_s, N, 50, &share, NULL), LW_OK);
    assert_true(share < 0.1);
    make(0.004, 0); // 250 a second: nothing to fold
    assert_int_equal(lw_times_folding(time_s, N, 50, &share, NULL), LW_OK);
    assert_true(share < 0.1);
}

static void too_little_and_too_much_are_refused(void **state)
{
    (void)state;
    struct lw_times_repeat repeat;
    double share = 0;
    make(0.1, 0);
    assert_int_equal(lw_times_repeat(time_s, 2, 15, &repeat, NULL), LW_USAGE);
    assert_int_equal(lw_times_repeat(time_s, N, 1e6, &repeat, NULL), LW_USAGE);
    assert_int_equal(lw_times_folding(time_s, 2, 50, &share, NULL), LW_USAGE);
    assert_true(share == 1);
    make(0, 0);
    assert_int_equal(lw_times_repeat(time_s, N, 15, &repeat, NULL), LW_USAGE);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(regular_times_repeat_wholly_at_their_rate),
        cmocka_unit_test(dither_by_an_interval_leaves_no_repeat),
        cmocka_unit_test(dither_by_half_an_interval_repeats_by_its_sinc),
        cmocka_unit_test(fifty_hertz_folds_when_polls_are_regular_and_slow),
        cmocka_unit_test(too_little_and_too_much_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
