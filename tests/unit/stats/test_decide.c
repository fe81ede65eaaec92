// SPDX-License-Identifier: GPL-3.0-or-later
//
// The decision at its edges: one reading or poll fewer must not decide, one more must.
#include "stats/decide.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <limits.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static struct lw_decided rate(uint64_t errors, uint64_t n, double limit, unsigned together)
{
    struct lw_decided decided;
    assert_int_equal(lw_decide_rate(errors, n, limit, together, &decided, NULL), LW_OK);
    return decided;
}

static struct lw_decided stdev(double value, double n, double limit, unsigned together)
{
    struct lw_decided decided;
    assert_int_equal(lw_decide_stdev(value, n, limit, together, &decided, NULL), LW_OK);
    return decided;
}

static void clean_polls_prove_one_in_a_thousand_from_2995_on(void **state)
{
    (void)state;
    // ln 0.05 / ln 0.999 = 2994.23.
    assert_int_equal(rate(0, 2995, 1e-3, 1).decision, LW_LIMIT_KEPT);
    struct lw_decided short_by_one = rate(0, 2994, 1e-3, 1);
    assert_int_equal(short_by_one.decision, LW_LIMIT_OPEN);
    assert_true(short_by_one.n_to_decide == 2995);
    assert_true(rate(0, 0, 1e-3, 1).n_to_decide == 2995);
}

static void more_nodes_judged_together_need_more_polls(void **state)
{
    (void)state;
    // ln(0.05 / 24) / ln 0.999 = 6170.7.
    struct lw_decided decided = rate(0, 2995, 1e-3, 24);
    assert_int_equal(decided.decision, LW_LIMIT_OPEN);
    assert_true(decided.n_to_decide == 6171);
    assert_true(fabs(decided.confidence - (1 - 0.05 / 24)) < 1e-15);
}

static void many_errors_break_a_limit(void **state)
{
    (void)state;
    struct lw_decided decided = rate(20, 1000, 1e-3, 1);
    assert_int_equal(decided.decision, LW_LIMIT_BROKEN);
    assert_true(decided.bounds.low > 1e-3);
}

static void a_rate_at_its_limit_never_decides(void **state)
{
    (void)state;
    struct lw_decided decided = rate(10, 10000, 1e-3, 1);
    assert_int_equal(decided.decision, LW_LIMIT_OPEN);
    assert_true(isinf(decided.n_to_decide));
}

static void the_named_number_of_readings_decides_a_standard_deviation(void **state)
{
    (void)state;
    for (int broken = 0; broken < 2; broken++) {
        double value = broken ? 1.25 : 0.8;
        struct lw_decided before = stdev(value, 12, 1, 3);
        assert_int_equal(before.decision, LW_LIMIT_OPEN);
        double n = before.n_to_decide;
        assert_int_equal(stdev(value, n, 1, 3).decision, broken ? LW_LIMIT_BROKEN : LW_LIMIT_KEPT);
        assert_int_equal(stdev(value, n - 1, 1, 3).decision, LW_LIMIT_OPEN);
    }
}

static void one_reading_decides_nothing(void **state)
{
    (void)state;
    struct lw_decided decided = stdev(0, 1, 1, 1);
    assert_int_equal(decided.decision, LW_LIMIT_OPEN);
    assert_true(isinf(decided.bounds.high));
}

static void a_value_with_uncertainty_decides_three_ways(void **state)
{
    (void)state;
    struct lw_decided decided;
    assert_int_equal(lw_decide_value(0.8, 0.1, INFINITY, 1, 1, &decided, NULL), LW_OK);
    assert_int_equal(decided.decision, LW_LIMIT_KEPT);
    // The same with 3 degrees of freedom: t = 2.353 (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
    assert_int_equal(lw_decide_value(0.8, 0.1, 3, 1, 1, &decided, NULL), LW_OK);
    assert_int_equal(decided.decision, LW_LIMIT_OPEN);
    assert_true(fabs(decided.bounds.high - 1.0353) < 1e-4);
    assert_int_equal(lw_decide_value(1.2, 0.1, INFINITY, 1, 1, &decided, NULL), LW_OK);
    assert_int_equal(decided.decision, LW_LIMIT_BROKEN);
}

static void shares_of_all_looks_add_up_to_one(void **state)
{
    (void)state;
    double sum = 0;
    for (unsigned look = 1; look <= 10000; look++) {
        sum += 3.0 / lw_decide_at_look(3, look);
    }
    assert_true(fabs(sum - (1 - 1.0 / 10001)) < 1e-9);
    assert_true(lw_decide_at_look(1000000, 100000) == UINT_MAX);
}

// Runs of readings of standard deviation `value` against a limit of 1, looked at whenever they
// double; counts decisions of one kind and the readings used.
static int decided_while_looking(double value, enum lw_decision kind, double *readings)
{
    int count = 0;
    *readings = 0;
    for (uint32_t run = 0; run < 300; run++) {
        double square = 0, n = 0;
        enum lw_decision decision = LW_LIMIT_OPEN;
        for (unsigned look = 1; look <= 9 && decision == LW_LIMIT_OPEN; look++) {
            for (; n < 8 * (1 << (look - 1)); n++) {
                double reading = lw_random_normal((struct lw_random){5, run, 1}, (uint64_t)n);
                square += reading * reading;
            }
            // Known mean 0: n readings are worth n degrees of freedom.
            decision =
                stdev(value * sqrt(square / n), n + 1, 1, lw_decide_at_look(1, look)).decision;
        }
        count += decision == kind;
        *readings += n / 300;
    }
    return count;
}

static void looking_often_does_not_raise_the_error_rate(void **state)
{
    (void)state;
    // At the limit itself either decision is wrong, each in at most 5 % of 300 runs.
    double readings;
    assert_true(decided_while_looking(1, LW_LIMIT_KEPT, &readings) <= 15);
    assert_true(decided_while_looking(1, LW_LIMIT_BROKEN, &readings) <= 15);
    assert_true(decided_while_looking(0.5, LW_LIMIT_KEPT, &readings) == 300);
    assert_true(readings < 64);
}

static void senseless_questions_are_refused(void **state)
{
    (void)state;
    struct lw_decided decided;
    assert_int_equal(lw_decide_rate(2, 1, 1e-3, 1, &decided, NULL), LW_USAGE);
    assert_int_equal(lw_decide_rate(0, 1, 0, 1, &decided, NULL), LW_USAGE);
    assert_int_equal(lw_decide_stdev(NAN, 10, 1, 1, &decided, NULL), LW_USAGE);
    assert_int_equal(lw_decide_stdev(1, 10, 0, 1, &decided, NULL), LW_USAGE);
    assert_int_equal(lw_decide_value(1, -1, 5, 1, 1, &decided, NULL), LW_USAGE);
    assert_int_equal(decided.decision, LW_LIMIT_OPEN);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clean_polls_prove_one_in_a_thousand_from_2995_on),
        cmocka_unit_test(more_nodes_judged_together_need_more_polls),
        cmocka_unit_test(many_errors_break_a_limit),
        cmocka_unit_test(a_rate_at_its_limit_never_decides),
        cmocka_unit_test(the_named_number_of_readings_decides_a_standard_deviation),
        cmocka_unit_test(one_reading_decides_nothing),
        cmocka_unit_test(a_value_with_uncertainty_decides_three_ways),
        cmocka_unit_test(shares_of_all_looks_add_up_to_one),
        cmocka_unit_test(looking_often_does_not_raise_the_error_rate),
        cmocka_unit_test(senseless_questions_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
