// SPDX-License-Identifier: GPL-3.0-or-later
//
// The three calculations of docs/method/supply.md, section 8, line by line.
#include "power/conductor.h"

#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void near(double value, double written, double within)
{
    if (!(fabs(value - written) <= within)) {
        fail_msg("%.12g is further than %g from %.12g", value, within, written);
    }
}

static struct lw_point solve(const struct lw_ladder *ladder)
{
    struct lw_point point;
    struct lw_error error = {0};
    assert_int_equal(lw_ladder_check(ladder, &error), LW_OK);
    assert_int_equal(lw_point_init(ladder, &point, &error), LW_OK);
    all_run(ladder, &point);
    assert_int_equal(lw_ladder_solve(ladder, &point, &error), LW_OK);
    assert_true(point.exists);
    return point;
}

static double copper_ohm(double area_mm2, double length_m)
{
    struct lw_conductor conductor = {.kind = LW_CONDUCTOR_AREA, .value = area_mm2, .parallel = 1};
    struct lw_error error = {0};
    double ohm = 0.0;
    assert_int_equal(
        lw_conductor_ohm(&conductor, LW_CONDUCTOR_MAXIMUM, length_m, 30.0, &ohm, &error), LW_OK);
    return ohm;
}

static void one_node_behind_a_lead_and_a_span(void **state)
{
    (void)state;
    near(copper_ohm(0.5, 1000.0), 40.5327, 1e-9);               // 1.1
    double span_ohm = copper_ohm(0.5, 0.5) + 2 * 0.004 + 0.004; // 1.2
    near(span_ohm, 0.032266, 5e-7);
    double lead_ohm = copper_ohm(1.0, 3.0) + 2 * 0.005; // 1.3
    near(lead_ohm, 0.070799, 5e-7);
    near(0.02 + 2 * lead_ohm + 2 * span_ohm, 0.226131, 5e-7); // 1.4
    struct chain chain;
    chain_begin(&chain, 2);
    chain.taps[1] = (struct lw_tap){span_ohm, span_ohm, false, false, power_load(0.9)};
    chain_feed(&chain, 0, 24.0, 0.02 + lead_ohm, lead_ohm, 2.5);
    struct lw_point point = solve(&chain.ladder);
    near(point.plus_v[1] - point.zero_v[1], 23.991517, 5e-7); // 1.5
    near(point.load_a[1], 0.0375133, 5e-8);                   // 1.6
    near(point.zero_v[1], 0.0038663, 5e-8);                   // 1.7
    lw_point_finish(&point);
}

static void two_nodes_step_by_step(void **state)
{
    (void)state;
    double u1 = 24.0; // 2.1
    double u2 = 24.0;
    near(2 * 10 / u1, 0.833333, 5e-7); // 2.2
    near(10 / (u1 * u1), 0.0173611, 5e-8);
    double k = 1 / (1 - 10 / (u2 * u2)); // 2.3
    near(k, 1.0176678, 5e-8);
    near(k * 2 * 10 / u2, 0.848057, 5e-7);
    near(k * 10 / (u2 * u2), 0.0176678, 5e-8);
    u1 = (24 / 0.5 - 0.848057 - 0.833333) / (1 / 0.5 - 0.0176678 - 0.0173611); // 2.4
    near(u1, 23.572159, 1e-6);
    u2 = u1 - (0.848057 - 0.0176678 * u1); // 2.5
    near(u2, 23.14057, 5e-6);
    struct chain chain;
    chain_begin(&chain, 2);
    chain_fill(&chain, 0.5, 0.5, power_load(10.0));
    chain_feed(&chain, 0, 24.0, 0.5, 0.0, INFINITY);
    struct lw_point point = solve(&chain.ladder);
    double found1 = point.plus_v[0] - point.zero_v[0];
    double found2 = point.plus_v[1] - point.zero_v[1];
    near(found1, 23.571803, 5e-7); // 2.6
    near(found2, 23.139644, 5e-7);
    assert_true(found1 < u1 && found2 < u2);   // steps fall
    near((24 - found1) / 0.5, 0.856394, 5e-7); // 2.7
    near((24 - found1) / 0.5, 10 / found1 + 10 / found2, 1e-9);
    lw_point_finish(&point);
}

static void the_frame_beside_zero_volts(void **state)
{
    (void)state;
    struct chain chain;
    chain_begin(&chain, 2);
    chain.taps[1] =
        (struct lw_tap){1.0, 1.0, false, false, {LW_LOAD_CURRENT, 1.0, 10.0, 12.0, 0.0}};
    chain_feed(&chain, 0, 24.0, 0.1, 0.0, INFINITY);
    struct lw_point point = solve(&chain.ladder);
    near(point.zero_v[1], 1.0, 1e-12); // 3.1
    double without_v = point.plus_v[1];
    lw_point_finish(&point);
    chain_bond(&chain, 0, 0.25);
    chain_bond(&chain, 1, 0.75);
    point = solve(&chain.ladder);
    near(point.span_zero_a[1], 0.5, 1e-12);  // 3.2
    near(point.zero_v[1], 0.5, 1e-12);       // 3.3
    near(point.plus_v[1], 22.9, 1e-12);      // 3.4
    near(point.plus_v[1], without_v, 1e-12); // 3.5
    lw_point_finish(&point);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_node_behind_a_lead_and_a_span),
        cmocka_unit_test(two_nodes_step_by_step),
        cmocka_unit_test(the_frame_beside_zero_volts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
