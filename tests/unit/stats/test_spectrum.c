// SPDX-License-Identifier: GPL-3.0-or-later
//
// The published example of the normalised periodogram, its false-alarm level on noise, and fits of
// known tones.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spectrum.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { MOST = 4000 };

static double time_s[MOST], value[MOST];

static void the_published_example_gives_its_power_and_significance(void **state)
{
    (void)state;
    // The worked example of the LNP_TEST routine in the IDL reference (nv5geospatialsoftware.com,
    // LNP_TEST): oversampling 4, up to the mean Nyquist frequency, 48 frequencies, largest power
    // 4.69296, significance 0.198157; more digits of both by recomputation.
    static const double x[] = {1,  2,  5,  7,  8,  9,  10, 11, 12, 13, 14, 15,
                               16, 17, 18, 19, 20, 22, 23, 24, 25, 26, 27, 28};
    static const double y[] = {0.69502,  -0.70425, 0.20632,  0.77206,  -2.08339, 0.97806,
                               1.77324,  2.34086,  0.91354,  2.04189,  0.53560,  -2.05348,
                               -0.76308, -0.84501, -0.06507, -0.12260, 1.83075,  1.41403,
                               -0.26438, -0.48142, -0.50929, 0.01942,  -1.29268, 0.29697};
    double frequency[48], power[48];
    for (int i = 0; i < 48; i++) {
        frequency[i] = (i + 1) / (27.0 * 4);
    }
    assert_int_equal(lw_lomb(x, y, 24, frequency, 48, power, NULL), LW_OK);
    int best = 0;
    for (int i = 1; i < 48; i++) {
        best = power[i] > power[best] ? i : best;
    }
    assert_int_equal(best + 1, 12);
    assert_true(fabs(power[best] - 4.69296) < 5e-6);
    assert_true(fabs(power[best] - 4.6929633) < 5e-8);
    double significance = lw_lomb_false_alarm(power[best], 24);
    assert_true(fabs(significance - 0.198157) < 2e-6);
    assert_true(fabs(significance - 0.1981559) < 5e-8);
}

// White noise of standard deviation 1 at uneven times, 10 a second in the mean.
static void make_noise(uint64_t seed, size_t n)
{
    struct lw_random when = {seed, 1, 1}, what = {seed, 1, 2};
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * ((double)i + 0.8 * lw_random_uniform(when, i));
        value[i] = lw_random_normal(what, i);
    }
}

static void add_tone(size_t n, double frequency_hz, double amplitude, double phase_rad)
{
    for (size_t i = 0; i < n; i++) {
        value[i] += amplitude * cos(2 * M_PI * frequency_hz * time_s[i] + phase_rad);
    }
}

static void powers_of_white_noise_are_exponential_with_mean_one(void **state)
{
    (void)state;
    // 40 series of 50 frequencies well apart: the mean of 2000 exponentials has standard deviation
    // 0.022, the count above 3 is binomial with probability exp(-3).
    double frequency[50], power[50], sum = 0;
    int above = 0;
    for (int i = 0; i < 50; i++) {
        frequency[i] = 0.7 + 1.3 * i;
    }
    for (uint64_t seed = 0; seed < 40; seed++) {
        make_noise(seed, 600);
        assert_int_equal(lw_lomb(time_s, value, 600, frequency, 50, power, NULL), LW_OK);
        for (int i = 0; i < 50; i++) {
            sum += power[i];
            above += power[i] > 3;
        }
    }
    assert_true(fabs(sum / 2000 - 1) < 4.4 * 0.0224);
    assert_true(abs(above - 100) < 4.4 * sqrt(100));
}

static void the_fast_band_is_the_direct_sum_within_1e_9(void **state)
{
    (void)state;
    // Bands that start low, that start high, and of one frequency.
    static const struct {
        double low_hz, step_hz;
        size_t count;
    } bands[] = {{0.0025, 0.0025, 2000}, {49.5, 0.005, 201}, {3.3, 0.1, 1}, {0.7, 0.9, 60}};
    static double frequency[2000], power[2000], fast[2000];
    make_noise(11, 1000);
    add_tone(1000, 3.3, 0.4, 1);
    for (size_t b = 0; b < sizeof bands / sizeof *bands; b++) {
        for (size_t i = 0; i < bands[b].count; i++) {
            frequency[i] = bands[b].low_hz + bands[b].step_hz * (double)i;
        }
        assert_int_equal(lw_lomb(time_s, value, 1000, frequency, bands[b].count, power, NULL),
                         LW_OK);
        assert_int_equal(lw_lomb_band(time_s, value, 1000, bands[b].low_hz, bands[b].step_hz,
                                      bands[b].count, fast, NULL),
                         LW_OK);
        for (size_t i = 0; i < bands[b].count; i++) {
            assert_true(fabs(fast[i] - power[i]) < 1e-9);
        }
    }
}

static void false_alarm_stays_exact_for_tiny_probabilities(void **state)
{
    (void)state;
    assert_true(fabs(lw_lomb_false_alarm(40, 1000) / (1000 * exp(-40)) - 1) < 1e-9);
    assert_true(lw_lomb_false_alarm(0, 5) == 1);
}

static void a_known_tone_is_fitted_with_its_uncertainty(void **state)
{
    (void)state;
    struct lw_tone tone;
    int amplitude_in = 0, phase_in = 0;
    for (uint64_t seed = 0; seed < 200; seed++) {
        make_noise(seed, 500);
        add_tone(500, 49.97, 0.8, 2);
        assert_int_equal(lw_tone_fit(time_s, value, 500, 49.97, &tone, NULL), LW_OK);
        amplitude_in += fabs(tone.amplitude - 0.8) < tone.amplitude_u;
        phase_in += fabs(tone.phase_rad - 2) < tone.amplitude_u / 0.8;
    }
    // 68.27 % of 200 within one standard uncertainty; binomial standard deviation 6.6.
    assert_true(abs(amplitude_in - 137) < 29);
    assert_true(abs(phase_in - 137) < 29);
    assert_true(fabs(tone.amplitude_u / sqrt(2.0 / 500) - 1) < 0.15);
}

static void a_tone_without_noise_is_exact(void **state)
{
    (void)state;
    struct lw_tone tone;
    make_noise(1, 40);
    for (size_t i = 0; i < 40; i++) {
        value[i] = 1e6;
    }
    add_tone(40, 3.3, 0.25, -1);
    assert_int_equal(lw_tone_fit(time_s, value, 40, 3.3, &tone, NULL), LW_OK);
    assert_true(fabs(tone.amplitude - 0.25) < 1e-9);
    assert_true(fabs(tone.phase_rad + 1) < 1e-8);
}

static void a_tone_that_the_times_cannot_tell_from_a_constant_is_refused(void **state)
{
    (void)state;
    struct lw_tone tone;
    for (size_t i = 0; i < 100; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = (double)(i % 7);
    }
    assert_int_equal(lw_tone_fit(time_s, value, 100, 50, &tone, NULL), LW_GARBLED);
    assert_true(isnan(tone.amplitude));
}

static void too_little_to_look_at_is_refused(void **state)
{
    (void)state;
    double frequency = 1, power;
    struct lw_tone tone;
    make_noise(1, 10);
    assert_int_equal(lw_lomb(time_s, value, 2, &frequency, 1, &power, NULL), LW_USAGE);
    assert_int_equal(lw_tone_fit(time_s, value, 3, 1, &tone, NULL), LW_USAGE);
    for (size_t i = 0; i < 10; i++) {
        value[i] = 3;
    }
    assert_int_equal(lw_lomb(time_s, value, 10, &frequency, 1, &power, NULL), LW_USAGE);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_published_example_gives_its_power_and_significance),
        cmocka_unit_test(powers_of_white_noise_are_exponential_with_mean_one),
        cmocka_unit_test(the_fast_band_is_the_direct_sum_within_1e_9),
        cmocka_unit_test(false_alarm_stays_exact_for_tiny_probabilities),
        cmocka_unit_test(a_known_tone_is_fitted_with_its_uncertainty),
        cmocka_unit_test(a_tone_without_noise_is_exact),
        cmocka_unit_test(a_tone_that_the_times_cannot_tell_from_a_constant_is_refused),
        cmocka_unit_test(too_little_to_look_at_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
