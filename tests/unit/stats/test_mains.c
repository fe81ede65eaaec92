// SPDX-License-Identifier: GPL-3.0-or-later
//
// Hum that is there is found, at its own frequency, and hum that is not there is not, on noise that
// invites mistakes too.
#include "stats/mains.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { N = 400 };

static double time_s[N], value[N];

// Drifting, slow noise under white noise of standard deviation 1, at dithered or regular times.
static void make_readings(uint64_t seed, double dither_s, double slow)
{
    struct lw_random when = {seed, 1, 1}, white = {seed, 1, 2}, walk = {seed, 1, 3};
    double level = 0;
    for (size_t i = 0; i < N; i++) {
        time_s[i] = 0.1 * (double)i + dither_s * lw_random_uniform(when, i);
        level += slow * lw_random_normal(walk, i);
        value[i] = level + lw_random_normal(white, i);
    }
}

static struct lw_mains find(void)
{
    struct lw_mains mains;
    assert_int_equal(lw_mains_find(time_s, value, N, &mains, NULL), LW_OK);
    return mains;
}

static void hum_is_found_at_its_frequency(void **state)
{
    (void)state;
    static const double frequencies_hz[] = {50, 49.7, 60.2};
    for (int i = 0; i < 3; i++) {
        make_readings((uint64_t)i, 0.05, 0);
        for (size_t j = 0; j < N; j++) {
            value[j] += 0.8 * cos(2 * M_PI * frequencies_hz[i] * time_s[j] + 1);
        }
        struct lw_mains mains = find();
        assert_true(mains.visible);
        assert_true(mains.tone.false_alarm < 1e-4);
        assert_true(fabs(mains.tone.frequency_hz - frequencies_hz[i]) < 0.02);
        assert_true(fabs(mains.tone.amplitude - 0.8) < 4 * mains.tone.amplitude_u);
    }
}

static void noise_and_drift_raise_no_alarm_more_often_than_said(void **state)
{
    (void)state;
    // 100 series each at level 0.05; at most 5 expected, 14 has probability under 1e-3 each.
    static const double slow[] = {0, 0.3};
    for (int i = 0; i < 2; i++) {
        int alarms = 0;
        for (uint64_t seed = 100; seed < 200; seed++) {
            make_readings(seed, 0.05, slow[i]);
            alarms += find().tone.false_alarm < 0.05;
        }
        assert_true(alarms < 14);
    }
}

static void regular_polling_at_a_divisor_sees_nothing(void **state)
{
    (void)state;
    make_readings(1, 0, 0.1);
    struct lw_mains mains = find();
    assert_false(mains.visible);
    assert_true(mains.tone.false_alarm == 1);
}

static void of_a_long_series_the_first_hours_are_used(void **state)
{
    (void)state;
    struct lw_mains mains;
    make_readings(1, 0.05, 0);
    for (size_t i = 0; i < N; i++) {
        time_s[i] *= 1000; // a reading every 100 s, 120 of them in 12 000 s
        value[i] += 3 * cos(2 * M_PI * 50 * time_s[i]);
    }
    assert_int_equal(lw_mains_find(time_s, value, N, &mains, NULL), LW_OK);
    assert_true(mains.tone.false_alarm < 1e-4);
    assert_true(mains.tone.amplitude_u > 0.1 && mains.tone.amplitude_u < 0.25);
    for (size_t i = 0; i < N; i++) {
        time_s[i] *= 10;
    }
    assert_int_equal(lw_mains_find(time_s, value, N, &mains, NULL), LW_USAGE);
}

static void too_few_readings_are_refused(void **state)
{
    (void)state;
    struct lw_mains mains;
    make_readings(1, 0.05, 0);
    assert_int_equal(lw_mains_find(time_s, value, 15, &mains, NULL), LW_USAGE);
    assert_true(mains.tone.false_alarm == 1);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hum_is_found_at_its_frequency),
        cmocka_unit_test(noise_and_drift_raise_no_alarm_more_often_than_said),
        cmocka_unit_test(regular_polling_at_a_divisor_sees_nothing),
        cmocka_unit_test(of_a_long_series_the_first_hours_are_used),
        cmocka_unit_test(too_few_readings_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
