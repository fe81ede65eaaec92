// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tones that were put in come out, and nothing else does.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/tones.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { N = 600, OCTAVES = 8 };

static double time_s[N], value[N];

// 10 readings a second, dithered by `dither_s`; white noise of standard deviation 1, or pink noise.
static void make(uint64_t seed, double dither_s, bool pink)
{
    double level[OCTAVES] = {0};
    for (size_t i = 0; i < N; i++) {
        time_s[i] =
            0.1 * (double)i + dither_s * lw_random_uniform((struct lw_random){seed, 1, 1}, i);
        value[i] = 100 + lw_random_normal((struct lw_random){seed, 1, 2}, i);
        for (uint32_t octave = 0; octave < OCTAVES && pink; octave++) {
            double rho = exp(-1.0 / (double)(1 << octave));
            level[octave] =
                rho * level[octave] +
                sqrt(1 - rho * rho) * lw_random_normal((struct lw_random){seed, 1, 3 + octave}, i);
            value[i] += level[octave];
        }
    }
}

static void add_tone(double frequency_hz, double amplitude)
{
    for (size_t i = 0; i < N; i++) {
        value[i] += amplitude * cos(2 * M_PI * frequency_hz * time_s[i] + 0.5);
    }
}

static struct lw_tones find(double high_hz)
{
    struct lw_tones tones;
    assert_int_equal(lw_tones_find(time_s, value, N, high_hz, 1, 0.01, &tones, NULL), LW_OK);
    return tones;
}

static const struct lw_tone *near_hz(const struct lw_tones *tones, double frequency_hz)
{
    for (size_t i = 0; i < tones->count; i++) {
        if (fabs(tones->tone[i].frequency_hz - frequency_hz) < 0.01) {
            return &tones->tone[i];
        }
    }
    fail_msg("no tone at %g Hz", frequency_hz);
    return NULL;
}

static void tones_far_apart_in_size_and_frequency_are_all_found(void **state)
{
    (void)state;
    static const struct {
        double frequency_hz, amplitude;
    } tones[] = {{0.83, 3}, {3.3, 0.5}, {49.97, 20}, {99.94, 0.6}};
    for (uint64_t seed = 1; seed <= 5; seed++) {
        make(seed, 0.09, false);
        for (int i = 0; i < 4; i++) {
            add_tone(tones[i].frequency_hz, tones[i].amplitude);
        }
        struct lw_tones found = find(120);
        assert_int_equal(found.count, 4);
        assert_false(found.apparent);
        for (int i = 0; i < 4; i++) {
            const struct lw_tone *tone = near_hz(&found, tones[i].frequency_hz);
            assert_true(fabs(tone->amplitude - tones[i].amplitude) < 4.5 * tone->amplitude_u);
            assert_true(fabs(tone->frequency_hz - tones[i].frequency_hz) <
                        4.5 * tone->frequency_u_hz);
            assert_true(tone->amplitude_u < 0.12);
        }
    }
}

static void white_and_pink_noise_hold_no_tones_more_often_than_said(void **state)
{
    (void)state;
    // 100 series each at level 0.01: 1 expected; more than 6 has probability under 1e-4.
    for (int pink = 0; pink < 2; pink++) {
        int alarms = 0;
        for (uint64_t seed = 100; seed < 200; seed++) {
            make(seed, 0.05, pink);
            alarms += find(70).count > 0;
        }
        assert_true(alarms <= 6);
    }
}

static void regular_polling_shows_an_apparent_frequency(void **state)
{
    (void)state;
    make(1, 0, false);
    add_tone(12.3, 2);
    struct lw_tones found = find(70);
    assert_true(found.apparent);
    assert_true(fabs(found.repeat.repeat_hz - 10) < 0.01);
    assert_true(fabs(found.high_hz - 5) < 0.01);
    assert_int_equal(found.count, 1);
    assert_true(near_hz(&found, 2.3) != NULL);
}

static void averaging_and_jitter_leave_their_share(void **state)
{
    (void)state;
    // sinc of one half is 2/pi, of one is 0; exp(-1/2) at 2 pi f u = 1.
    assert_true(fabs(lw_tone_share_left(25, 0.02, 0) - 2 / M_PI) < 1e-12);
    assert_true(fabs(lw_tone_share_left(50, 0.02, 0)) < 1e-12);
    assert_true(lw_tone_share_left(75, 0.02, 0) < 0);
    assert_true(fabs(lw_tone_share_left(50, 0, 1 / (100 * M_PI)) - exp(-0.5)) < 1e-12);
    assert_true(lw_tone_share_left(0, 0.02, 0.01) == 1);
}

static void what_cannot_be_searched_is_refused(void **state)
{
    (void)state;
    struct lw_tones tones;
    make(1, 0.05, false);
    assert_int_equal(lw_tones_find(time_s, value, 63, 70, 1, 0.05, &tones, NULL), LW_USAGE);
    assert_int_equal(lw_tones_find(time_s, value, N, 0.1, 1, 0.05, &tones, NULL), LW_USAGE);
    assert_int_equal(lw_tones_find(time_s, value, N, 1e5, 1, 0.05, &tones, NULL), LW_USAGE);
    assert_int_equal(tones.count, 0);
    for (size_t i = 0; i < N; i++) {
        value[i] = 4;
    }
    assert_int_equal(lw_tones_find(time_s, value, N, 70, 1, 0.05, &tones, NULL), LW_USAGE);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tones_far_apart_in_size_and_frequency_are_all_found),
        cmocka_unit_test(white_and_pink_noise_hold_no_tones_more_often_than_said),
        cmocka_unit_test(regular_polling_shows_an_apparent_frequency),
        cmocka_unit_test(averaging_and_jitter_leave_their_share),
        cmocka_unit_test(what_cannot_be_searched_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
