// SPDX-License-Identifier: GPL-3.0-or-later
//
// The two data sets that NIST publishes for this, and noise of known kinds.
#include "stats/allan.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { MOST = 8192 };

static double value[MOST];

static double allan(size_t n, size_t average)
{
    double deviation;
    assert_int_equal(lw_allan(value, n, average, &deviation, NULL), LW_OK);
    return deviation;
}

static void the_test_suites_of_nist_are_reached(void **state)
{
    (void)state;
    // NIST Special Publication 1065 (Riley 2008), section 12: nine frequencies of NBS Monograph
    // 140, Allan deviation at 1, and 1000 numbers of a generator, overlapping Allan deviation at 1,
    // 10, 100 (results from memory; the data and the formula give all printed digits).
    static const double nine[] = {892, 809, 823, 798, 671, 644, 883, 903, 677};
    memcpy(value, nine, sizeof nine);
    assert_true(fabs(allan(9, 1) - 91.22945) < 5e-6);
    uint64_t number = 1234567890;
    for (size_t i = 0; i < 1000; i++) {
        value[i] = (double)number / 2147483647.0;
        number = 16807 * number % 2147483647;
    }
    assert_true(fabs(allan(1000, 1) - 2.922319e-1) < 5e-8);
    assert_true(fabs(allan(1000, 10) - 9.159953e-2) < 5e-9);
    assert_true(fabs(allan(1000, 100) - 3.241343e-2) < 5e-9);
}

static void white_noise_falls_with_the_root_of_averaging(void **state)
{
    (void)state;
    for (size_t i = 0; i < MOST; i++) {
        value[i] = 1e6 + lw_random_normal((struct lw_random){1, 1, 1}, i);
    }
    assert_true(fabs(allan(MOST, 1) - 1) < 0.04);
    assert_true(fabs(allan(MOST, 64) * 8 - 1) < 0.15);
}

static void averaging_stops_to_help_where_drift_takes_over(void **state)
{
    (void)state;
    // White noise 1/sqrt(m) against drift d m / sqrt 2: equal slopes meet near m = (1/d)^(2/3).
    for (size_t i = 0; i < MOST; i++) {
        value[i] = lw_random_normal((struct lw_random){2, 1, 1}, i) + 0.003 * (double)i;
    }
    struct lw_allan_best best;
    assert_int_equal(lw_allan_best(value, MOST, &best, NULL), LW_OK);
    assert_true(best.average >= 16 && best.average <= 128);
}

static void too_few_readings_are_refused(void **state)
{
    (void)state;
    double deviation;
    struct lw_allan_best best;
    assert_int_equal(lw_allan(value, 9, 5, &deviation, NULL), LW_USAGE);
    assert_int_equal(lw_allan(value, 9, 0, &deviation, NULL), LW_USAGE);
    assert_int_equal(lw_allan_best(value, 17, &best, NULL), LW_USAGE);
    assert_true(isnan(deviation));
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_test_suites_of_nist_are_reached),
        cmocka_unit_test(white_noise_falls_with_the_root_of_averaging),
        cmocka_unit_test(averaging_stops_to_help_where_drift_takes_over),
        cmocka_unit_test(too_few_readings_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
