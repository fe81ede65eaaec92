// SPDX-License-Identifier: GPL-3.0-or-later
//
// A loose contact, a single shift, and all that looks a little like it.
#include "stats/jumps.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { N = 1000 };

static double time_s[N], value[N];

static void make_noise(uint64_t seed)
{
    for (size_t i = 0; i < N; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = 500 + lw_random_normal((struct lw_random){seed, 1, 1}, i);
    }
}

static struct lw_jumps find(double resolution)
{
    struct lw_jumps jumps;
    assert_int_equal(lw_jumps_find(time_s, value, N, resolution, &jumps, NULL), LW_OK);
    return jumps;
}

static void a_loose_contact_is_a_telegraph(void **state)
{
    (void)state;
    make_noise(1);
    // Up for 20 readings out of 100, ten times.
    for (size_t i = 0; i < N; i++) {
        value[i] += i % 100 >= 50 && i % 100 < 70 ? 10 : 0;
    }
    struct lw_jumps jumps = find(NAN);
    assert_int_equal(jumps.kind, LW_JUMPS_TELEGRAPH);
    assert_int_equal(jumps.switches, 20);
    assert_true(fabs(jumps.step - 10) < 0.3);
    assert_true(fabs(jumps.share_rarer - 0.2) < 1e-12);
    assert_true(fabs(jumps.dwell_s - 2) < 1e-9);
}

static void a_telegraph_on_a_drift_is_found(void **state)
{
    (void)state;
    make_noise(2);
    for (size_t i = 0; i < N; i++) {
        value[i] += 0.5 * time_s[i] + (i % 40 < 20 ? 10 : 0);
    }
    assert_int_equal(find(NAN).kind, LW_JUMPS_TELEGRAPH);
}

static void a_shift_that_stays_is_one_jump(void **state)
{
    (void)state;
    make_noise(3);
    for (size_t i = 600; i < N; i++) {
        value[i] -= 12;
    }
    struct lw_jumps jumps = find(NAN);
    assert_int_equal(jumps.kind, LW_JUMP_ONCE);
    assert_int_equal(jumps.switches, 1);
}

static void levels_close_together_are_found_since_readings_stay(void **state)
{
    (void)state;
    // 3.3 standard deviations apart: single readings do not tell the levels.
    size_t steps = 0, telegraphs = 0;
    for (uint64_t seed = 1; seed <= 50; seed++) {
        make_noise(seed);
        for (size_t i = 700; i < N; i++) {
            value[i] += 3.3;
        }
        struct lw_jumps jumps = find(NAN);
        steps += jumps.kind == LW_JUMP_ONCE && fabs(jumps.step - 3.3) < 0.5;
        make_noise(100 + seed);
        for (size_t i = 0; i < N; i++) {
            value[i] += i % 30 < 10 ? 3.6 : 0;
        }
        telegraphs += find(NAN).kind == LW_JUMPS_TELEGRAPH;
    }
    assert_true(steps >= 48);
    assert_true(telegraphs >= 45);
}

static void hum_at_drawn_times_is_no_telegraph(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 50; seed++) {
        make_noise(seed);
        for (size_t i = 0; i < N; i++) {
            double turn = lw_random_uniform((struct lw_random){seed, 2, 1}, i);
            value[i] += 20 * cos(2 * M_PI * turn);
        }
        assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
    }
}

static void noise_that_wanders_is_no_jump(void **state)
{
    (void)state;
    size_t jumps = 0;
    for (uint64_t seed = 1; seed <= 100; seed++) {
        double wander = 0;
        make_noise(seed);
        for (size_t i = 0; i < N; i++) {
            wander += lw_random_normal((struct lw_random){seed, 3, 1}, i);
            value[i] += wander;
        }
        jumps += find(NAN).kind != LW_JUMPS_NONE;
    }
    assert_true(jumps <= 3);
}

// 1/f noise as a sum of first-order processes, whose times rise by octaves (common practice), at
// unit spread.
static void make_slow_noise(uint64_t seed, size_t n)
{
    enum { OCTAVES = 8 };
    double part[OCTAVES];
    for (uint32_t k = 0; k < OCTAVES; k++) {
        part[k] = lw_random_normal((struct lw_random){seed, 5, k}, 0);
    }
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = 0;
        for (uint32_t k = 0; k < OCTAVES; k++) {
            double kept = exp(-ldexp(1, -(int)k));
            part[k] = kept * part[k] + sqrt(1 - kept * kept) *
                                           lw_random_normal((struct lw_random){seed, 5, k}, i + 1);
            value[i] += part[k] / sqrt(OCTAVES);
        }
    }
}

// What a chain of 200 nodes is judged by: one false jump in 200 nodes would be one a chain.
static void slow_noise_in_few_readings_is_no_jump(void **state)
{
    (void)state;
    static const size_t counts[] = {24, 32, 50, 64, 128, 200, 400};
    struct lw_jumps jumps;
    for (size_t c = 0; c < sizeof counts / sizeof *counts; c++) {
        size_t found = 0;
        for (uint64_t seed = 1; seed <= 2000; seed++) {
            make_slow_noise(seed, counts[c]);
            assert_int_equal(lw_jumps_find(time_s, value, counts[c], NAN, &jumps, NULL), LW_OK);
            found += jumps.kind != LW_JUMPS_NONE;
        }
        assert_in_range(found, 0, 2);
    }
}

static void spikes_are_no_jumps(void **state)
{
    (void)state;
    make_noise(4);
    for (size_t i = 0; i < N; i += 20) {
        value[i] += 30;
    }
    assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
}

static void noise_sines_and_drift_are_no_jumps(void **state)
{
    (void)state;
    for (uint64_t seed = 10; seed < 60; seed++) {
        make_noise(seed);
        assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
    }
    for (size_t i = 0; i < N; i++) {
        value[i] += 50 * sin(0.31 * time_s[i]);
    }
    assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
    make_noise(5);
    for (size_t i = 0; i < N; i++) {
        value[i] += 0.3 * (double)i;
    }
    assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
}

static void flicker_between_two_steps_of_the_reading_is_no_jump(void **state)
{
    (void)state;
    for (size_t i = 0; i < N; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = i % 20 < 10 ? 7 : 8;
    }
    assert_int_equal(find(1).kind, LW_JUMPS_NONE);
    assert_int_equal(find(NAN).kind, LW_JUMPS_NONE);
    assert_int_equal(find(0.1).kind, LW_JUMPS_TELEGRAPH);
}

static void too_few_readings_are_refused(void **state)
{
    (void)state;
    struct lw_jumps jumps;
    assert_int_equal(lw_jumps_find(time_s, value, 19, NAN, &jumps, NULL), LW_USAGE);
    assert_int_equal(jumps.kind, LW_JUMPS_NONE);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_loose_contact_is_a_telegraph),
        cmocka_unit_test(a_telegraph_on_a_drift_is_found),
        cmocka_unit_test(a_shift_that_stays_is_one_jump),
        cmocka_unit_test(levels_close_together_are_found_since_readings_stay),
        cmocka_unit_test(hum_at_drawn_times_is_no_telegraph),
        cmocka_unit_test(noise_that_wanders_is_no_jump),
        cmocka_unit_test(slow_noise_in_few_readings_is_no_jump),
        cmocka_unit_test(spikes_are_no_jumps),
        cmocka_unit_test(noise_sines_and_drift_are_no_jumps),
        cmocka_unit_test(flicker_between_two_steps_of_the_reading_is_no_jump),
        cmocka_unit_test(too_few_readings_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
