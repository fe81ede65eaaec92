// SPDX-License-Identifier: GPL-3.0-or-later
//
// The certified sets of NIST first, with the digits that are reached, then what each part of a
// spread must see, and must not see, in made readings.
#include "data.h"
#include "stats/correlation.h"
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spread.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { MOST = 20000 };

static double time_s[MOST], value[MOST];

// Correct significant digits as NIST counts them, -log10 of the relative error, at most 15.
static double digits(double found, double certified)
{
    double error = fabs(found - certified) / fabs(certified);
    return error < 1e-15 ? 15 : -log10(error);
}

// First value, then 500 pairs, as StRD defines NumAcc2 to NumAcc4.
static size_t numacc(double first, double low, double high)
{
    value[0] = first;
    for (size_t i = 1; i < 1001; i++) {
        value[i] = i % 2 ? low : high;
    }
    return 1001;
}

static size_t load(const char *name)
{
    if (strcmp(name, "NumAcc1") == 0) {
        value[0] = 10000001, value[1] = 10000003, value[2] = 10000002;
        return 3;
    }
    if (strcmp(name, "NumAcc2") == 0) {
        return numacc(1.2, 1.1, 1.3);
    }
    if (strcmp(name, "NumAcc3") == 0) {
        return numacc(1000000.2, 1000000.1, 1000000.3);
    }
    if (strcmp(name, "NumAcc4") == 0) {
        return numacc(10000000.2, 10000000.1, 10000000.3);
    }
    return data_read(name, value, MOST);
}

static void certified_values_of_nist_are_reached(void **state)
{
    (void)state;
    // NIST Statistical Reference Datasets, univariate summary statistics, certified values. The
    // digits asked for are what a double leaves: NumAcc3 and NumAcc4 lose theirs when 1000000.2 and
    // 10000000.2 are stored.
    static const struct {
        const char *name;
        size_t n;
        double mean, stdev, lag1;
        double mean_digits, stdev_digits, lag1_digits;
    } sets[] = {
        {"strd/pidigits.csv", 5000, 4.53480000000000, 2.86733906028871, -0.00355099287237972, 14,
         14, 12},
        {"strd/lottery.csv", 218, 518.958715596330, 291.699727470969, -0.120948622967393, 14, 14,
         14},
        {"strd/lew.csv", 200, -177.435000000000, 277.332168044316, -0.307304800605679, 14, 14, 14},
        {"strd/mavro.csv", 50, 2.00185600000000, 0.000429123454003053, 0.937989183438248, 14, 12,
         12},
        {"strd/michelso.csv", 100, 299.852400000000, 0.0790105478190518, 0.535199668621283, 14, 12,
         12},
        {"NumAcc1", 3, 10000002, 1, -0.5, 15, 15, 15},
        {"NumAcc2", 1001, 1.2, 0.1, -0.999, 14, 14, 14},
        {"NumAcc3", 1001, 1000000.2, 0.1, -0.999, 14, 9, 11},
        {"NumAcc4", 1001, 10000000.2, 0.1, -0.999, 14, 8, 10},
    };
    for (size_t i = 0; i < sizeof sets / sizeof *sets; i++) {
        size_t n = load(sets[i].name);
        assert_int_equal(n, sets[i].n);
        struct lw_moments found = lw_moments(value, n);
        double mean = digits(found.mean, sets[i].mean);
        double stdev = digits(found.stdev, sets[i].stdev);
        double lag1 = digits(found.lag1, sets[i].lag1);
        printf("%-18s digits: mean %4.1f, stdev %4.1f, lag 1 %4.1f\n", sets[i].name, mean, stdev,
               lag1);
        assert_true(mean >= sets[i].mean_digits);
        assert_true(stdev >= sets[i].stdev_digits);
        assert_true(lag1 >= sets[i].lag1_digits);
    }
}

// AR(1) noise of standard deviation 1 and lag-1 correlation `rho`, every 0.1 s.
static void make_noise(uint64_t seed, size_t n, double rho)
{
    struct lw_random key = {seed, 1, 1};
    double before = lw_random_normal(key, 0);
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = before;
        before = rho * before + sqrt(1 - rho * rho) * lw_random_normal(key, i + 1);
    }
}

static struct lw_spread spread_known(size_t n, struct lw_spread_options options)
{
    struct lw_spread spread;
    struct lw_error error = {0};
    assert_int_equal(lw_spread_of(time_s, value, n, &options, &spread, &error), LW_OK);
    return spread;
}

static struct lw_spread spread_of(size_t n)
{
    return spread_known(n, lw_spread_options());
}

static void white_noise_is_worth_about_all_its_readings(void **state)
{
    (void)state;
    make_noise(1, 10000, 0);
    struct lw_spread spread = spread_of(10000);
    assert_true(fabs(spread.noise - 1) < 0.03);
    assert_true(fabs(spread.robust_stdev - 1) < 0.05);
    assert_true(spread.effective_n_mean > 9000);
    assert_true(spread.effective_n_spread > 9500);
    assert_true(spread.stdev_low95 < 1 && spread.stdev_high95 > 1);
    assert_true(spread.stdev_high95 / spread.stdev_low95 < 1.04);
    assert_true(fabs(spread.drift_per_s) < 4 * spread.drift_u_per_s);
}

static void alike_readings_are_worth_less_and_differently_for_mean_and_spread(void **state)
{
    (void)state;
    // AR(1), rho 0.9: 1 + 2 sum rho^k = (1 + rho)/(1 - rho) = 19, 1 + 2 sum rho^2k = (1 + rho^2)/
    // (1 - rho^2) = 9.526 (Bayley and Hammersley 1946, for long series).
    make_noise(2, 20000, 0.9);
    struct lw_spread spread = spread_of(20000);
    assert_true(fabs(spread.noise_lag1 - 0.9) < 0.02);
    assert_true(fabs(20000 / spread.effective_n_mean / 19 - 1) < 0.25);
    assert_true(fabs(20000 / spread.effective_n_spread / 9.526 - 1) < 0.25);
}

static void drift_is_found_and_does_not_count_as_noise(void **state)
{
    (void)state;
    make_noise(3, 2000, 0.5);
    for (size_t i = 0; i < 2000; i++) {
        value[i] += 0.05 * time_s[i];
    }
    struct lw_spread spread = spread_of(2000);
    assert_true(fabs(spread.drift_per_s - 0.05) < 4 * spread.drift_u_per_s);
    assert_true(spread.drift_u_per_s < 0.002);
    assert_true(spread.stdev > 2.5);
    assert_true(fabs(spread.noise - 1) < 0.15);
}

static void the_drifts_uncertainty_is_wider_for_alike_readings(void **state)
{
    (void)state;
    make_noise(4, 4000, 0);
    double white_u = spread_of(4000).drift_u_per_s;
    make_noise(4, 4000, 0.9);
    double alike_u = spread_of(4000).drift_u_per_s;
    assert_true(fabs(alike_u / white_u / sqrt(19) - 1) < 0.3);
}

static void spikes_are_outliers_and_the_noise_is_not(void **state)
{
    (void)state;
    make_noise(5, 3000, 0);
    assert_int_equal(spread_of(3000).outliers, 0);
    static const size_t spikes[] = {0, 700, 701, 2999};
    for (size_t i = 0; i < 4; i++) {
        value[spikes[i]] += i % 2 ? 12 : -12;
    }
    bool out[3000];
    size_t count = 0;
    assert_int_equal(lw_spread_outliers(value, 3000, NAN, 1, out, &count, NULL), LW_OK);
    assert_int_equal(count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_true(out[spikes[i]]);
    }
}

static void a_steep_drift_makes_no_outliers(void **state)
{
    (void)state;
    make_noise(6, 1000, 0);
    for (size_t i = 0; i < 1000; i++) {
        value[i] += 0.2 * (double)i;
    }
    assert_int_equal(spread_of(1000).outliers, 0);
}

// Readings that show almost nothing but one value of step 1.
static void make_quiet(size_t n)
{
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        value[i] = 40;
    }
}

static void flicker_of_one_step_is_no_outlier_but_ten_steps_are(void **state)
{
    (void)state;
    make_quiet(500);
    value[100] += 1, value[200] -= 1, value[300] += 10;
    struct lw_spread_options options = lw_spread_options();
    options.resolution = 1;
    assert_int_equal(spread_known(500, options).outliers, 1);
}

static void with_no_spread_and_no_known_step_a_rare_difference_is_an_outlier(void **state)
{
    (void)state;
    make_quiet(500);
    value[100] = 41;
    assert_int_equal(spread_of(500).outliers, 1);
    for (size_t i = 0; i < 500; i += 50) {
        value[i] = 41;
    }
    assert_int_equal(spread_of(500).outliers, 0);
}

static void readings_that_are_all_equal_are_stuck_and_have_no_spread(void **state)
{
    (void)state;
    make_quiet(100);
    struct lw_spread spread = spread_of(100);
    assert_true(spread.stuck && spread.below_resolution);
    assert_int_equal(spread.longest_equal, 100);
    assert_true(spread.noise == 0 && spread.stdev == 0 && spread.drift_per_s == 0);
    assert_true(isnan(spread.lag1));
    assert_int_equal(spread.outliers, 0);
}

static void a_run_that_noise_does_not_explain_is_stuck(void **state)
{
    (void)state;
    make_noise(7, 1000, 0);
    for (size_t i = 400; i < 420; i++) {
        value[i] = value[400];
    }
    struct lw_spread spread = spread_of(1000);
    assert_true(spread.stuck);
    assert_int_equal(spread.longest_equal, 20);
}

static void coarse_steps_are_not_stuck(void **state)
{
    (void)state;
    make_noise(8, 1000, 0);
    for (size_t i = 0; i < 1000; i++) {
        value[i] = 3 * round(value[i] / 3);
    }
    struct lw_spread spread = spread_of(1000);
    assert_true(spread.longest_equal >= 10);
    assert_false(spread.stuck);
}

static void the_step_is_guessed_from_the_readings(void **state)
{
    (void)state;
    make_noise(9, 1000, 0);
    assert_true(isnan(spread_of(1000).resolution));
    for (size_t i = 0; i < 1000; i++) {
        value[i] = 250 + 0.05 * round(value[i] / 0.05);
    }
    assert_true(fabs(spread_of(1000).resolution / 0.05 - 1) < 1e-9);
}

static void a_spread_under_half_a_step_is_said(void **state)
{
    (void)state;
    make_noise(10, 1000, 0);
    for (size_t i = 0; i < 1000; i++) {
        value[i] = round(0.25 * value[i]);
    }
    struct lw_spread_options options = lw_spread_options();
    options.resolution = 1;
    assert_true(spread_known(1000, options).below_resolution);
    options.resolution = 0.1;
    assert_false(spread_known(1000, options).below_resolution);
}

static void rounding_is_taken_off_the_noise(void **state)
{
    (void)state;
    // Sheppard: rounding to steps of q adds q^2/12 to the variance.
    make_noise(16, 20000, 0);
    for (size_t i = 0; i < 20000; i++) {
        value[i] = round(value[i]);
    }
    struct lw_spread spread = spread_of(20000);
    assert_true(fabs(spread.resolution - 1) < 1e-12);
    assert_true(fabs(spread.noise - sqrt(1 + 1.0 / 12)) < 0.02);
    assert_true(fabs(spread.noise_unrounded - 1) < 0.02);
}

static enum lw_decision decision(const struct lw_spread *spread, double limit)
{
    struct lw_decided decided;
    assert_int_equal(lw_spread_decide(spread, limit, 1, &decided, NULL), LW_OK);
    return decided.decision;
}

static void readings_that_never_move_prove_no_less_than_their_step(void **state)
{
    (void)state;
    make_quiet(1000);
    struct lw_spread unknown = spread_of(1000);
    assert_int_equal(decision(&unknown, 1e6), LW_LIMIT_OPEN);
    struct lw_spread_options options = lw_spread_options();
    options.resolution = 1;
    struct lw_spread known = spread_known(1000, options);
    assert_true(fabs(known.stdev_high95 - 0.57735) < 1e-5);
    assert_int_equal(decision(&known, 0.6), LW_LIMIT_KEPT);
    assert_int_equal(decision(&known, 0.5), LW_LIMIT_OPEN);
}

static void noise_over_the_step_is_judged_by_its_bounds(void **state)
{
    (void)state;
    make_noise(17, 1000, 0);
    struct lw_spread spread = spread_of(1000);
    assert_int_equal(decision(&spread, 1.2), LW_LIMIT_KEPT);
    assert_int_equal(decision(&spread, 0.8), LW_LIMIT_BROKEN);
    assert_int_equal(decision(&spread, spread.noise), LW_LIMIT_OPEN);
    struct lw_spread one = spread_of(1);
    assert_int_equal(decision(&one, 1), LW_LIMIT_OPEN);
}

static void readings_at_the_ends_of_the_range_are_counted(void **state)
{
    (void)state;
    make_noise(11, 100, 0);
    value[3] = 50, value[4] = 51, value[5] = -50;
    struct lw_spread_options options = lw_spread_options();
    options.range_low = -50, options.range_high = 50;
    struct lw_spread spread = spread_known(100, options);
    assert_int_equal(spread.at_high, 2);
    assert_int_equal(spread.at_low, 1);
}

static void few_readings_say_what_they_can(void **state)
{
    (void)state;
    make_noise(12, 3, 0);
    struct lw_spread one = spread_of(1);
    assert_true(one.mean == value[0] && isnan(one.stdev) && isnan(one.drift_per_s));
    assert_true(one.stdev_low95 == 0 && isinf(one.stdev_high95));
    struct lw_spread two = spread_of(2);
    assert_true(two.stdev > 0 && isnan(two.noise) && isfinite(two.drift_per_s));
    assert_true(isfinite(spread_of(3).noise));
}

static void equal_times_leave_the_drift_open(void **state)
{
    (void)state;
    make_noise(13, 50, 0);
    for (size_t i = 0; i < 50; i++) {
        time_s[i] = 4;
    }
    struct lw_spread spread = spread_of(50);
    assert_true(isnan(spread.drift_per_s) && isnan(spread.drift_u_per_s));
    assert_true(fabs(spread.noise - spread.stdev) < 1e-12);
}

static enum lw_status refused(size_t n, char *says)
{
    struct lw_spread_options options = lw_spread_options();
    struct lw_spread spread;
    struct lw_error error = {0};
    enum lw_status status = lw_spread_of(time_s, value, n, &options, &spread, &error);
    snprintf(says, LW_ERROR_SAYS, "%s", error.says);
    return status;
}

static void bad_series_are_refused_with_the_place(void **state)
{
    (void)state;
    char says[LW_ERROR_SAYS];
    make_noise(14, 10, 0);
    assert_int_equal(refused(0, says), LW_USAGE);
    value[4] = NAN;
    assert_int_equal(refused(10, says), LW_USAGE);
    assert_string_equal(says, "reading 5 is no finite number");
    value[4] = 0;
    time_s[7] = 0;
    assert_int_equal(refused(10, says), LW_USAGE);
    assert_string_equal(says, "reading 8 is earlier than the one before");
}

static void the_transform_gives_the_plain_autocorrelation(void **state)
{
    (void)state;
    double rho[100];
    make_noise(15, 300, 0.6);
    assert_int_equal(lw_autocorrelation(value, 300, 99, rho, NULL), LW_OK);
    for (size_t k = 0; k < 100; k++) {
        double sum = 0, total = 0;
        for (size_t i = 0; i < 300; i++) {
            total += value[i] * value[i];
            sum += i + k < 300 ? value[i] * value[i + k] : 0;
        }
        assert_true(fabs(rho[k] - sum / total) < 1e-13);
    }
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(certified_values_of_nist_are_reached),
        cmocka_unit_test(white_noise_is_worth_about_all_its_readings),
        cmocka_unit_test(alike_readings_are_worth_less_and_differently_for_mean_and_spread),
        cmocka_unit_test(drift_is_found_and_does_not_count_as_noise),
        cmocka_unit_test(the_drifts_uncertainty_is_wider_for_alike_readings),
        cmocka_unit_test(spikes_are_outliers_and_the_noise_is_not),
        cmocka_unit_test(a_steep_drift_makes_no_outliers),
        cmocka_unit_test(flicker_of_one_step_is_no_outlier_but_ten_steps_are),
        cmocka_unit_test(with_no_spread_and_no_known_step_a_rare_difference_is_an_outlier),
        cmocka_unit_test(readings_that_are_all_equal_are_stuck_and_have_no_spread),
        cmocka_unit_test(a_run_that_noise_does_not_explain_is_stuck),
        cmocka_unit_test(coarse_steps_are_not_stuck),
        cmocka_unit_test(the_step_is_guessed_from_the_readings),
        cmocka_unit_test(a_spread_under_half_a_step_is_said),
        cmocka_unit_test(rounding_is_taken_off_the_noise),
        cmocka_unit_test(readings_that_never_move_prove_no_less_than_their_step),
        cmocka_unit_test(noise_over_the_step_is_judged_by_its_bounds),
        cmocka_unit_test(readings_at_the_ends_of_the_range_are_counted),
        cmocka_unit_test(few_readings_say_what_they_can),
        cmocka_unit_test(equal_times_leave_the_drift_open),
        cmocka_unit_test(bad_series_are_refused_with_the_place),
        cmocka_unit_test(the_transform_gives_the_plain_autocorrelation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
