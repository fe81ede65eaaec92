// SPDX-License-Identifier: GPL-3.0-or-later
//
// Update intervals from bursts and counters: found where readings show them, never where they
// don't.
#include "check/noise_update.h"
#include "stats/random.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { POLLS = 48, RUNS = 400 };

// Polls every poll_s, a fifth of that uneven, of a node that renews noise rounded to `step` of its
// standard deviation every update_s.
static double burst(uint64_t seed, double poll_s, double update_s, double step)
{
    double time_s[POLLS], value[POLLS];
    struct lw_random dither = {seed, 1, 1}, noise = {seed, 1, 2}, phase = {seed, 1, 3};
    double start_s = update_s * lw_random_uniform(phase, 0);
    for (size_t i = 0; i < POLLS; i++) {
        time_s[i] = poll_s * ((double)i + 0.2 * lw_random_uniform(dither, i));
        double update = floor((time_s[i] + start_s) / update_s);
        value[i] = step * nearbyint(lw_random_normal(noise, (uint64_t)update) / step);
    }
    return lw_update_from_burst(time_s, value, POLLS);
}

static void a_burst_finds_the_update_interval(void **state)
{
    (void)state;
    size_t found = 0, right = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        double update_s = burst(seed, 0.005, 0.020, 0.3);
        found += isfinite(update_s);
        right += fabs(update_s - 0.020) < 0.001;
    }
    assert_int_equal(right, found);
    assert_in_range(found, RUNS * 9 / 10, RUNS);
}

static void a_burst_slower_than_the_updates_finds_none(void **state)
{
    (void)state;
    size_t found = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        found += isfinite(burst(seed, 0.005, 0.0011, 0.3));
    }
    // 1 in 100 at most; 4 more than that of 400 have a probability under 3 %.
    assert_in_range(found, 0, 8);
}

static void changes_by_chance_are_no_interval(void **state)
{
    (void)state;
    size_t found = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        double time_s[POLLS], value[POLLS];
        struct lw_random dither = {seed, 2, 1}, change = {seed, 2, 2};
        double at = 0;
        for (size_t i = 0; i < POLLS; i++) {
            time_s[i] = 0.005 * ((double)i + 0.2 * lw_random_uniform(dither, i));
            at += lw_random_uniform(change, i) < 0.3;
            value[i] = at;
        }
        found += isfinite(lw_update_from_burst(time_s, value, POLLS));
    }
    assert_in_range(found, 0, 8);
}

static void readings_that_never_change_tell_nothing(void **state)
{
    (void)state;
    const double time_s[] = {0, 1, 2, 3, 4, 5, 6, 7}, value[8] = {0};
    assert_true(isnan(lw_update_from_burst(time_s, value, 8)));
    assert_true(isnan(lw_update_from_burst(time_s, value, 0)));
}

static void a_counter_tells_its_interval_over_its_turns(void **state)
{
    (void)state;
    // 4 ms for 1000 s: 250 000 counts, three turns of 16 bits and more.
    const double time_s[3] = {0, 0.25, 1000};
    const double count[3] = {65500, fmod(65500 + 62, 65536), fmod(65500.0 + 250000, 65536)};
    assert_true(fabs(lw_update_from_counter(time_s, count) - 0.004) < 1e-8);
}

static void a_counter_that_stands_tells_nothing(void **state)
{
    (void)state;
    const double time_s[3] = {0, 0.25, 10}, count[3] = {7, 7, 7};
    assert_true(isnan(lw_update_from_counter(time_s, count)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_burst_finds_the_update_interval),
        cmocka_unit_test(a_burst_slower_than_the_updates_finds_none),
        cmocka_unit_test(changes_by_chance_are_no_interval),
        cmocka_unit_test(readings_that_never_change_tell_nothing),
        cmocka_unit_test(a_counter_tells_its_interval_over_its_turns),
        cmocka_unit_test(a_counter_that_stands_tells_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
