// SPDX-License-Identifier: GPL-3.0-or-later
//
// What slow noise leaves of the worth of readings for the upper bound of a spread.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spread.h"
#include "stats/steepness.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { MOST = 4096, OCTAVES = 12 };

static double time_s[MOST], value[MOST];

static void make_alike(uint32_t series, size_t n, double rho)
{
    struct lw_random key = {7, series, 1};
    double level = lw_random_normal(key, n);
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        level = rho * level + sqrt(1 - rho * rho) * lw_random_normal(key, i);
        value[i] = level;
    }
}

// A sum of octaves, each alike over twice as long as the one before: 1/f.
static void make_pink(uint32_t series, size_t n)
{
    double level[OCTAVES];
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = 0;
        for (uint32_t octave = 0; octave < OCTAVES; octave++) {
            double rho = exp(-1.0 / (double)(1 << octave));
            double fresh = lw_random_normal((struct lw_random){7, series, 100 + octave}, i);
            level[octave] = i == 0 ? fresh : rho * level[octave] + sqrt(1 - rho * rho) * fresh;
            value[i] += level[octave];
        }
    }
}

static double worth(size_t n, double *for_slope)
{
    double residual[MOST], for_spread = NAN;
    lw_line_residuals(time_s, value, n, residual);
    assert_int_equal(lw_effective_n_steep(residual, n, for_slope, &for_spread, NULL), LW_OK);
    return for_spread;
}

static void white_readings_keep_their_worth(void **state)
{
    (void)state;
    double for_slope = NAN;
    for (uint32_t series = 0; series < 20; series++) {
        make_alike(series, 1000, 0);
        assert_true(worth(1000, &for_slope) > 900);
        assert_true(for_slope > 400);
    }
}

static void alike_readings_are_told_from_slow_noise_and_worth_what_theory_says(void **state)
{
    (void)state;
    double for_slope = NAN;
    // AR(1), rho 0.9: (1 + rho^2) / (1 - rho^2) = 9.526 readings are worth one for a spread
    // (Bayley and Hammersley 1946, for long series).
    make_alike(1, 4096, 0.9);
    assert_true(fabs(4096 / worth(4096, &for_slope) / 9.526 - 1) < 0.3);
    // For a mean, and a slope, (1 + rho) / (1 - rho) = 19 (same).
    assert_true(fabs(4096 / for_slope / 19 - 1) < 0.3);
}

static void pink_readings_are_worth_little_however_many(void **state)
{
    (void)state;
    double for_slope = NAN;
    // S = 1/k over k = 1 .. m: 2 (ln m + 0.5772)^2 / (pi^2/6) degrees of freedom, 77 for m = 2048.
    make_pink(1, 4096);
    assert_true(worth(4096, &for_slope) < 100);
    assert_true(worth(4096, &for_slope) > 30);
    assert_true(for_slope < 40);
}

// 400 series; a bound that holds in 95 % is missed here once in 1000 (binomial: 20 fail in the
// mean, standard deviation 4.4).
static void expect_upper_bounds_hold(void (*make)(uint32_t series, size_t n), size_t n)
{
    enum { SERIES = 400, MOST_FAILING = 34 };
    double noise[SERIES], high[SERIES], square = 0;
    for (uint32_t i = 0; i < SERIES; i++) {
        struct lw_spread_options options = lw_spread_options();
        struct lw_spread spread;
        make(i, n);
        assert_int_equal(lw_spread_of(time_s, value, n, &options, &spread, NULL), LW_OK);
        noise[i] = spread.noise;
        high[i] = spread.stdev_high95;
        square += noise[i] * noise[i] / SERIES;
    }
    size_t failing = 0;
    for (size_t i = 0; i < SERIES; i++) {
        failing += high[i] < sqrt(square);
    }
    assert_true(failing <= MOST_FAILING);
}

static void make_very_alike(uint32_t series, size_t n)
{
    make_alike(series, n, 0.9);
}

static void upper_bounds_hold_under_slow_noise(void **state)
{
    (void)state;
    expect_upper_bounds_hold(make_pink, 50);
    expect_upper_bounds_hold(make_pink, 200);
    expect_upper_bounds_hold(make_pink, 1000);
    expect_upper_bounds_hold(make_very_alike, 50);
    expect_upper_bounds_hold(make_very_alike, 200);
}

static void few_readings_and_readings_that_never_move_are_left_alone(void **state)
{
    (void)state;
    double for_slope = NAN;
    make_alike(1, 15, 0.9);
    assert_true(worth(15, &for_slope) == 15 && for_slope == 15);
    for (size_t i = 0; i < 100; i++) {
        time_s[i] = (double)i;
        value[i] = 3;
    }
    assert_true(worth(100, &for_slope) == 100);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(white_readings_keep_their_worth),
        cmocka_unit_test(alike_readings_are_told_from_slow_noise_and_worth_what_theory_says),
        cmocka_unit_test(pink_readings_are_worth_little_however_many),
        cmocka_unit_test(upper_bounds_hold_under_slow_noise),
        cmocka_unit_test(few_readings_and_readings_that_never_move_are_left_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
