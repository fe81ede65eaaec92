// SPDX-License-Identifier: GPL-3.0-or-later
//
// A steady field, an alternating one, nothing at all, and drift that must not pass for any of them.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/switched.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { N = 400 };

// What the source does while it is on, and the drift all along.
struct effect {
    double shift, noise, drift_per_s;
};

// Four stretches of N readings in 40 s, AR(1) noise of standard deviation 1 and correlation rho.
static struct lw_switched measure(uint32_t seed, double rho, struct effect effect)
{
    static double time_s[N], value[N];
    struct lw_spread stretch[4];
    struct lw_spread_options options = lw_spread_options();
    for (uint32_t s = 0; s < 4; s++) {
        struct lw_random key = {seed, s, 1};
        bool on = s == 1 || s == 2;
        double level = lw_random_normal(key, N);
        for (size_t i = 0; i < N; i++) {
            time_s[i] = 40.0 * s + 0.1 * (double)i;
            level = rho * level + sqrt(1 - rho * rho) * lw_random_normal(key, i);
            value[i] = level * (on ? effect.noise : 1) + (on ? effect.shift : 0) +
                       effect.drift_per_s * time_s[i];
        }
        assert_int_equal(lw_spread_of(time_s, value, N, &options, &stretch[s], NULL), LW_OK);
    }
    struct lw_switched switched;
    assert_int_equal(lw_switched_of(stretch, 1, &switched, NULL), LW_OK);
    return switched;
}

static void a_steady_field_shifts_and_adds_no_noise(void **state)
{
    (void)state;
    struct lw_switched switched = measure(1, 0.5, (struct effect){1, 1, 0.2});
    assert_true(switched.shifted && !switched.changed);
    assert_true(fabs(switched.shift - 1) < 4 * switched.shift_u);
    assert_true(switched.ratio_low95 < 1 && switched.ratio_high95 > 1);
}

static void an_alternating_field_adds_noise_and_does_not_shift(void **state)
{
    (void)state;
    struct lw_switched switched = measure(2, 0.5, (struct effect){0, 2, 0.2});
    assert_true(!switched.shifted && switched.changed);
    assert_true(switched.ratio_low95 > 1.5 && switched.ratio_high95 < 2.6);
}

static void nothing_and_drift_are_called_an_effect_as_often_as_said(void **state)
{
    (void)state;
    // 400 runs each, each question at 2.5 %: 10 expected, binomial standard deviation 3.1; alike
    // readings may reach a little more.
    for (int alike = 0; alike < 2; alike++) {
        int shifted = 0, changed = 0;
        for (uint32_t seed = 100; seed < 500; seed++) {
            struct lw_switched switched = measure(seed, 0.6 * alike, (struct effect){0, 1, 1});
            shifted += switched.shifted;
            changed += switched.changed;
        }
        assert_true(shifted <= 24 && changed <= 24);
    }
}

static void stretches_too_short_to_compare_are_refused(void **state)
{
    (void)state;
    struct lw_spread stretch[4] = {0};
    struct lw_switched switched;
    assert_int_equal(lw_switched_of(stretch, 1, &switched, NULL), LW_USAGE);
    assert_true(isnan(switched.shift) && !switched.shifted);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_steady_field_shifts_and_adds_no_noise),
        cmocka_unit_test(an_alternating_field_adds_noise_and_does_not_shift),
        cmocka_unit_test(nothing_and_drift_are_called_an_effect_as_often_as_said),
        cmocka_unit_test(stretches_too_short_to_compare_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
