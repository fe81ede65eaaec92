// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bounds against published examples of the statistical packages and papers named beside them.
#include "stats/interval.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

struct rate_example {
    uint64_t errors, n;
    double confidence, low, high, tolerance;
};

static void wilson_agrees_with_published_examples(void **state)
{
    (void)state;
    // SciPy's tests of binomtest, whose values are from R 3.6.2, prop.test(correct=FALSE).
    static const struct rate_example examples[] = {
        {3, 10, 0.95, 0.1077913, 0.6032219, 5e-8},
        {3, 10, 0.99, 0.07956632, 0.6799753, 5e-8},
        {0, 10, 0.95, 0, 0.2775328, 5e-8},
        {10, 10, 0.95, 0.7224672, 1, 5e-8},
        // Cases of Newcombe, Statistics in Medicine 17 (1998) 857, more digits by recomputation.
        {81, 263, 0.95, 0.2552885, 0.3662096, 5e-8},
        {15, 148, 0.95, 0.0623864, 0.1604872, 5e-8},
        {0, 20, 0.95, 0, 0.1611252, 5e-8},
        {1, 29, 0.95, 0.0061132, 0.1717552, 5e-8},
    };
    for (size_t i = 0; i < sizeof examples / sizeof *examples; i++) {
        const struct rate_example *example = &examples[i];
        struct lw_interval found;
        assert_int_equal(lw_interval_wilson(LW_TWO_SIDED, example->confidence, example->errors,
                                            example->n, &found, NULL),
                         LW_OK);
        assert_true(fabs(found.low - example->low) <= example->tolerance);
        assert_true(fabs(found.high - example->high) <= example->tolerance);
    }
}

static void clopper_pearson_agrees_with_published_examples(void **state)
{
    (void)state;
    static const struct rate_example examples[] = {
        // SciPy's tests of binomtest, values from R 3.6.2, binom.test.
        {20, 100, 0.95, 0.1266555521019559, 0.2918426890886281, 1e-12},
        {3, 50, 0.99, 0.006872485, 0.202706269, 5e-10},
        // SciPy's documentation of binomtest.
        {7, 50, 0.95, 0.05819170033997342, 0.26739600249700846, 1e-12},
        // Cases of Newcombe, Statistics in Medicine 17 (1998) 857, more digits by recomputation.
        {81, 263, 0.95, 0.2527367, 0.3676219, 5e-8},
        {15, 148, 0.95, 0.0578440, 0.1616505, 5e-8},
        {0, 20, 0.95, 0, 0.1684335, 5e-8},
        {1, 29, 0.95, 0.0008726, 0.1776443, 5e-8},
    };
    for (size_t i = 0; i < sizeof examples / sizeof *examples; i++) {
        const struct rate_example *example = &examples[i];
        struct lw_interval found;
        assert_int_equal(lw_interval_clopper_pearson(LW_TWO_SIDED, example->confidence,
                                                     example->errors, example->n, &found, NULL),
                         LW_OK);
        assert_true(fabs(found.low - example->low) <= example->tolerance);
        assert_true(fabs(found.high - example->high) <= example->tolerance);
    }
}

static void a_one_sided_bound_is_an_end_of_the_wider_two_sided_interval(void **state)
{
    (void)state;
    struct lw_interval one, two;
    assert_int_equal(lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, 3, 864, &one, NULL), LW_OK);
    assert_int_equal(lw_interval_clopper_pearson(LW_TWO_SIDED, 0.90, 3, 864, &two, NULL), LW_OK);
    assert_true(fabs(one.low - two.low) < 1e-14 && fabs(one.high - two.high) < 1e-14);
}

static void no_errors_are_bounded_by_the_rule_of_the_nth_root(void **state)
{
    (void)state;
    // Closed form: with no error in n, the bound is 1 - alpha^(1/n).
    struct lw_interval found;
    assert_int_equal(lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, 0, 2995, &found, NULL), LW_OK);
    assert_true(fabs(found.high - -expm1(log(0.05) / 2995)) < 1e-15);
    assert_true(found.low == 0);
}

static void a_standard_deviation_is_bounded_by_chi_square(void **state)
{
    (void)state;
    // Tables of chi-square, 10 degrees of freedom: 18.307 at 5 % and 3.940 at 95 % (NIST/SEMATECH
    // e-Handbook, 1.3.6.7.4).
    struct lw_interval found;
    assert_int_equal(lw_interval_stdev(LW_ONE_SIDED, 0.95, 2, 11, &found, NULL), LW_OK);
    assert_true(fabs(found.low - 2 * sqrt(10 / 18.307)) < 1e-4);
    assert_true(fabs(found.high - 2 * sqrt(10 / 3.940)) < 2e-4);
}

static void a_mean_is_bounded_by_student(void **state)
{
    (void)state;
    // t of 9 degrees of freedom: 2.262 two-sided 95 % (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    struct lw_interval found;
    assert_int_equal(lw_interval_mean(LW_TWO_SIDED, 0.95, 5, 1, 10, &found, NULL), LW_OK);
    assert_true(fabs(found.high - 5 - 2.262 / sqrt(10)) < 2e-4);
    assert_true(fabs((found.high + found.low) / 2 - 5) < 1e-12);
}

static void senseless_arguments_are_refused_and_give_no_number(void **state)
{
    (void)state;
    struct lw_interval found;
    assert_int_equal(lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, 3, 2, &found, NULL), LW_USAGE);
    assert_true(isnan(found.low) && isnan(found.high));
    assert_int_equal(lw_interval_wilson(LW_ONE_SIDED, 0.95, 0, 0, &found, NULL), LW_USAGE);
    assert_int_equal(lw_interval_wilson(LW_ONE_SIDED, 1, 1, 2, &found, NULL), LW_USAGE);
    assert_int_equal(lw_interval_stdev(LW_ONE_SIDED, 0.95, 1, 1, &found, NULL), LW_USAGE);
    assert_int_equal(lw_interval_stdev(LW_ONE_SIDED, 0.95, -1, 5, &found, NULL), LW_USAGE);
    assert_int_equal(lw_interval_mean(LW_ONE_SIDED, 0.95, 1, NAN, 5, &found, NULL), LW_USAGE);
    assert_true(isnan(found.low) && isnan(found.high));
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wilson_agrees_with_published_examples),
        cmocka_unit_test(clopper_pearson_agrees_with_published_examples),
        cmocka_unit_test(a_one_sided_bound_is_an_end_of_the_wider_two_sided_interval),
        cmocka_unit_test(no_errors_are_bounded_by_the_rule_of_the_nth_root),
        cmocka_unit_test(a_standard_deviation_is_bounded_by_chi_square),
        cmocka_unit_test(a_mean_is_bounded_by_student),
        cmocka_unit_test(senseless_arguments_are_refused_and_give_no_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
