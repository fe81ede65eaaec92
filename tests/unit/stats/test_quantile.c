// SPDX-License-Identifier: GPL-3.0-or-later
//
// A few printed values, then the one property that counts: the distribution gives the probability
// back, or there is no number. The wide grid stands in tests/peer, against SciPy.
#include "stats/quantile.h"
#include "stats/setup.h"

#include <gsl/gsl_cdf.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static void quantiles_agree_with_printed_tables(void **state)
{
    (void)state;
    double x = 0;
    // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7: tables of the normal, t,
    // chi-square and F distributions.
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, 0.975, &x, NULL), LW_OK);
    assert_true(fabs(x - 1.960) < 5e-4);
    assert_int_equal(lw_quantile_t(LW_TAIL_ABOVE, 0.05, 9, &x, NULL), LW_OK);
    assert_true(fabs(x - 1.833) < 5e-4);
    assert_int_equal(lw_quantile_chi_square(LW_TAIL_ABOVE, 0.05, 10, &x, NULL), LW_OK);
    assert_true(fabs(x - 18.307) < 5e-4);
    assert_int_equal(lw_quantile_chi_square(LW_TAIL_ABOVE, 0.95, 10, &x, NULL), LW_OK);
    assert_true(fabs(x - 3.940) < 5e-4);
    assert_int_equal(lw_quantile_f(LW_TAIL_ABOVE, 0.05, 9, 90, &x, NULL), LW_OK);
    assert_true(fabs(x - 1.9856) < 5e-5); // critical value printed with the gear example, eda35a
}

static void the_median_absolute_deviation_constant_is_hampels(void **state)
{
    (void)state;
    // 1 / z(0.75) = 1.4826 (Hampel 1974); more digits by recomputation.
    double x = 0;
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, 0.75, &x, NULL), LW_OK);
    assert_true(fabs(1 / x - 1.482602218505602) < 1e-13);
}

static void tails_mirror_each_other(void **state)
{
    (void)state;
    double below = 0, above = 0;
    assert_int_equal(lw_quantile_t(LW_TAIL_BELOW, 0.01, 2.5, &below, NULL), LW_OK);
    assert_int_equal(lw_quantile_t(LW_TAIL_ABOVE, 0.01, 2.5, &above, NULL), LW_OK);
    assert_true(below < 0 && fabs(below + above) < 1e-12);
    assert_int_equal(lw_quantile_normal(LW_TAIL_ABOVE, 0.9, &below, NULL), LW_OK);
    assert_true(fabs(below + 1.2815515655446004) < 1e-13); // SciPy, norm.ppf(0.1)
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, 0.5, &below, NULL), LW_OK);
    assert_true(below == 0);
    assert_int_equal(lw_quantile_beta(LW_TAIL_BELOW, 0.2, 3, 7, &below, NULL), LW_OK);
    assert_int_equal(lw_quantile_beta(LW_TAIL_ABOVE, 0.2, 7, 3, &above, NULL), LW_OK);
    assert_true(fabs(below + above - 1) < 1e-13);
}

static void far_tails_keep_their_digits(void **state)
{
    (void)state;
    double x = 0;
    assert_int_equal(lw_quantile_normal(LW_TAIL_ABOVE, 1e-12, &x, NULL), LW_OK);
    assert_true(fabs(x / 7.034483825301131 - 1) < 1e-12); // SciPy, norm.isf(1e-12)
    assert_int_equal(lw_quantile_chi_square(LW_TAIL_BELOW, 1e-12, 0.5, &x, NULL), LW_OK);
    assert_true(fabs(gsl_cdf_chisq_P(x, 0.5) / 1e-12 - 1) < 1e-9);
}

static void three_errors_in_864_have_a_bound(void **state)
{
    (void)state;
    // GSL's own inverse gives nothing here.
    double x = 0;
    assert_int_equal(lw_quantile_beta(LW_TAIL_BELOW, 0.05, 3, 862, &x, NULL), LW_OK);
    assert_true(fabs(gsl_cdf_beta_P(x, 3, 862) / 0.05 - 1) < 1e-9);
    assert_int_equal(lw_quantile_beta(LW_TAIL_ABOVE, 0.05, 4, 861, &x, NULL), LW_OK);
    assert_true(fabs(gsl_cdf_beta_Q(x, 4, 861) / 0.05 - 1) < 1e-9);
}

static void what_cannot_be_computed_is_no_number(void **state)
{
    (void)state;
    struct lw_error error = {0};
    double x = 0;
    assert_int_equal(lw_quantile_chi_square(LW_TAIL_BELOW, 1e-300, 1e-3, &x, &error), LW_GARBLED);
    assert_true(isnan(x));
    assert_string_equal(error.says, "no trustworthy quantile at probability 1e-300");
}

static void arguments_out_of_range_are_refused(void **state)
{
    (void)state;
    double x = 0;
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, 0, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, 1, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_normal(LW_TAIL_BELOW, NAN, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_t(LW_TAIL_BELOW, 0.5, 0, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_chi_square(LW_TAIL_BELOW, 0.5, -1, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_f(LW_TAIL_BELOW, 0.5, 1, INFINITY, &x, NULL), LW_USAGE);
    assert_int_equal(lw_quantile_beta(LW_TAIL_BELOW, 0.5, NAN, 1, &x, NULL), LW_USAGE);
    assert_true(isnan(x));
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_agree_with_printed_tables),
        cmocka_unit_test(the_median_absolute_deviation_constant_is_hampels),
        cmocka_unit_test(tails_mirror_each_other),
        cmocka_unit_test(far_tails_keep_their_digits),
        cmocka_unit_test(three_errors_in_864_have_a_bound),
        cmocka_unit_test(what_cannot_be_computed_is_no_number),
        cmocka_unit_test(arguments_out_of_range_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
