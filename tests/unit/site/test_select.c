// SPDX-License-Identifier: GPL-3.0-or-later
//
// Choosing nodes by name along the chain and by address.
#include "site_test.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static struct lw_plan plan;

static int load_plan(void **state)
{
    (void)state;
    char says[LW_ERROR_SAYS];
    return site_load_plan(NULL, NULL, &plan, says, sizeof says) == LW_OK ? 0 : -1;
}

static int free_plan(void **state)
{
    (void)state;
    lw_plan_free(&plan);
    return 0;
}

// The chosen taps as "1 1 0 1".
static void expect(const char *nodes, const char *addresses, const char *taps)
{
    bool selected[4];
    char got[8];
    struct lw_error error = {0};
    if (lw_plan_select(&plan, nodes, addresses, selected, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    lw_print(got, sizeof got, "%d %d %d %d", selected[0], selected[1], selected[2], selected[3]);
    assert_string_equal(got, taps);
}

static void expect_usage(const char *nodes, const char *addresses, const char *says)
{
    bool selected[4];
    struct lw_error error = {0};
    assert_int_equal(lw_plan_select(&plan, nodes, addresses, selected, &error), LW_USAGE);
    if (strstr(error.says, says) == NULL) {
        fail_msg("'%s' instead of '%s'", error.says, says);
    }
}

static void nothing_asked_is_all_nodes(void **state)
{
    (void)state;
    expect(NULL, NULL, "1 1 1 1");
}

static void names_and_ranges_run_along_the_chain(void **state)
{
    (void)state;
    expect("P03", NULL, "0 0 1 0");
    expect("P01,P03-P04", NULL, "1 0 1 1");
    expect("P02-P02", NULL, "0 1 0 0");
}

static void addresses_and_ranges_take_the_nodes_that_have_them(void **state)
{
    (void)state;
    expect(NULL, "2", "0 1 0 0");
    expect(NULL, "1,3-200", "1 0 1 1");
    expect("P01", "4", "1 0 0 1");
}

static void slips_are_refused(void **state)
{
    (void)state;
    expect_usage("P09", NULL, "there is no node 'P09' in the plan: it has P01, P02, P03, P04");
    expect_usage("P03-P01", NULL, "'P03-P01' runs backwards along the chain");
    expect_usage("P01,", NULL, "'P01,' is no list");
    expect_usage("", NULL, "'' is no list");
    expect_usage(NULL, "5-247", "no node of the plan has address 5-247");
    expect_usage(NULL, "4-2", "'4-2' runs backwards");
    expect_usage(NULL, "0", "0");
    expect_usage(NULL, "+1", "+1");
    expect_usage(NULL, "248", "248");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_asked_is_all_nodes),
        cmocka_unit_test(names_and_ranges_run_along_the_chain),
        cmocka_unit_test(addresses_and_ranges_take_the_nodes_that_have_them),
        cmocka_unit_test(slips_are_refused),
    };
    return cmocka_run_group_tests(tests, load_plan, free_plan);
}
