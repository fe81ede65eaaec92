// SPDX-License-Identifier: GPL-3.0-or-later
//
// The fast sums against the plain ones, at the edges of the grid too.
#include "stats/nonuniform.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { MOST = 300, MOST_HALF = 500 };

static double turn[MOST];
static double complex first[MOST], second[MOST];
static double complex fast_first[2 * MOST_HALF + 1], fast_second[2 * MOST_HALF + 1];

static double complex plain(const double complex *strength, size_t n, double k)
{
    double complex sum = 0;
    for (size_t j = 0; j < n; j++) {
        double phase = 2 * M_PI * k * turn[j];
        sum += strength[j] * CMPLX(cos(phase), -sin(phase));
    }
    return sum;
}

// Largest difference over the sum of the strengths' sizes, about n.
static double worst(size_t n, size_t half)
{
    assert_int_equal(lw_nonuniform_sums(turn, n, first, half, fast_first, NULL), LW_OK);
    assert_int_equal(lw_nonuniform_sums(turn, n, second, half, fast_second, NULL), LW_OK);
    double largest = 0;
    for (size_t i = 0; i <= 2 * half; i++) {
        double k = (double)i - (double)half;
        largest = fmax(largest, cabs(fast_first[i] - plain(first, n, k)));
        largest = fmax(largest, cabs(fast_second[i] - plain(second, n, k)));
    }
    return largest / (double)n;
}

static void make(size_t n)
{
    struct lw_random key = {1, 1, 1};
    for (size_t j = 0; j < n; j++) {
        turn[j] = 3 * lw_random_uniform(key, 4 * j);
        first[j] = CMPLX(lw_random_normal(key, 4 * j + 1), lw_random_normal(key, 4 * j + 2));
        second[j] = 1;
    }
}

static void fast_sums_are_the_plain_sums(void **state)
{
    (void)state;
    static const size_t halves[] = {1, 2, 16, 37, 128, 500};
    for (size_t i = 0; i < sizeof halves / sizeof *halves; i++) {
        make(MOST);
        assert_true(worst(MOST, halves[i]) < 1e-11);
    }
}

static void turns_at_the_ends_wrap_around(void **state)
{
    (void)state;
    make(4);
    turn[0] = 0;
    turn[1] = nextafter(1, 0);
    turn[2] = 1;
    turn[3] = 0.5;
    assert_true(worst(4, 20) < 1e-10);
}

static void a_spectrum_without_end_is_refused(void **state)
{
    (void)state;
    assert_int_equal(lw_nonuniform_sums(turn, 1, first, ((size_t)1 << 28) + 1, fast_first, NULL),
                     LW_USAGE);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fast_sums_are_the_plain_sums),
        cmocka_unit_test(turns_at_the_ends_wrap_around),
        cmocka_unit_test(a_spectrum_without_end_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
