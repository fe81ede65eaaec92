// SPDX-License-Identifier: GPL-3.0-or-later
//
// Floors of made spectra: exponential powers of known mean.
#include "stats/floor.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { COUNT = 20000 };

static double power[COUNT], level[COUNT];

static void the_floor_is_the_mean_of_noise_and_ignores_tones(void **state)
{
    (void)state;
    struct lw_random key = {1, 1, 1};
    for (size_t i = 0; i < COUNT; i++) {
        power[i] = i % 100 == 0 ? 1000 : 3 * lw_random_exponential(key, i);
    }
    double found = lw_floor_of(power, COUNT);
    assert_true(fabs(found / 3 - 1) < 0.06);
}

static void the_floor_follows_pink_noise(void **state)
{
    (void)state;
    struct lw_random key = {2, 1, 1};
    for (size_t i = 0; i < COUNT; i++) {
        power[i] = 1e6 / (double)(i + 1) * lw_random_exponential(key, i);
    }
    assert_int_equal(lw_floor_under(power, COUNT, 250, level, NULL), LW_OK);
    double sum = 0;
    for (size_t i = 500; i < COUNT; i++) {
        double off = log(level[i] * (double)(i + 1) / 1e6);
        assert_true(fabs(off) < 0.5);
        sum += off;
    }
    assert_true(fabs(sum / (COUNT - 500)) < 0.03);
}

static void one_block_gives_one_level(void **state)
{
    (void)state;
    for (size_t i = 0; i < 7; i++) {
        power[i] = 2 * M_LN2;
    }
    assert_int_equal(lw_floor_under(power, 7, 100, level, NULL), LW_OK);
    for (size_t i = 0; i < 7; i++) {
        assert_true(fabs(level[i] - 2) < 1e-14);
    }
}

static void a_well_known_floor_gives_the_exponential_tail(void **state)
{
    (void)state;
    assert_true(fabs(lw_floor_single(10, 1e12) / exp(-10) - 1) < 1e-6);
    assert_true(lw_floor_single(10, 20) > 5 * exp(-10));
}

static void a_floor_from_few_frequencies_is_called_exceeded_as_often_as_said(void **state)
{
    (void)state;
    // 20 powers estimate the floor, one is tested at 1 %: 100 of 10 000 expected.
    struct lw_random key = {3, 1, 1};
    int exceeded = 0;
    for (uint64_t run = 0; run < 10000; run++) {
        double around[20];
        for (uint64_t i = 0; i < 20; i++) {
            around[i] = lw_random_exponential(key, run * 21 + i);
        }
        double ratio = lw_random_exponential(key, run * 21 + 20) / lw_floor_of(around, 20);
        exceeded += lw_floor_single(ratio, 20) < 0.01;
    }
    assert_true(exceeded > 50 && exceeded < 150);
}

static void more_searches_and_wider_ones_alarm_more(void **state)
{
    (void)state;
    double one = lw_floor_false_alarm(12, 100, 1, 10, 1);
    assert_true(lw_floor_false_alarm(12, 100, 1, 10, 2) / one > 1.9);
    assert_true(lw_floor_false_alarm(12, 100, 2, 10, 1) > 1.5 * one);
    assert_true(lw_floor_false_alarm(0.1, 100, 100, 100, 10) > 0.999);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_floor_is_the_mean_of_noise_and_ignores_tones),
        cmocka_unit_test(the_floor_follows_pink_noise),
        cmocka_unit_test(one_block_gives_one_level),
        cmocka_unit_test(a_well_known_floor_gives_the_exponential_tail),
        cmocka_unit_test(a_floor_from_few_frequencies_is_called_exceeded_as_often_as_said),
        cmocka_unit_test(more_searches_and_wider_ones_alarm_more),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
