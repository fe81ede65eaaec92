// SPDX-License-Identifier: GPL-3.0-or-later
//
// The line's budget against published examples.
#include "power/line_budget.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void near(double value, double wanted, double within)
{
    if (!(fabs(value - wanted) <= within)) {
        fail_msg("%.10g is further than %g from %.10g", value, within, wanted);
    }
}

static struct lw_line_load load_of(double unit_loads, size_t count, double terminator_ohm,
                                   double bias_ohm, double supply_v)
{
    const double terminators[] = {terminator_ohm, terminator_ohm, terminator_ohm};
    struct lw_segment segment = {.unit_loads = unit_loads,
                                 .terminator_ohm = terminators,
                                 .terminator_count = count,
                                 .bias_supply_v = supply_v,
                                 .pull_up_ohm = bias_ohm,
                                 .pull_down_ohm = bias_ohm};
    struct lw_line_load load;
    lw_line_load(&segment, LW_THRESHOLD_V, &load);
    return load;
}

// "RS-422 and RS-485 Applications eBook" (B&B Electronics), pages 34 to 36: ten nodes of 12 kohm,
// two terminators of 120 ohm, 470 ohm bias on 5 V: 57.14 ohm, about 5 mA, about 285 mV.
static void ten_terminated_nodes_idle_as_published(void **state)
{
    (void)state;
    struct lw_line_load load = load_of(10.0, 2, 120.0, 470.0, 5.0);
    near(1.0 / (1.0 / load.driver_ohm - 1.0 / 940.0), 57.14, 0.01);
    near(load.idle_v, 0.285, 0.002);
    near((5.0 - load.idle_v) / 940.0, 5.0e-3, 0.02e-3);
    assert_false(load.idle_undefined);
}

// MODBUS over Serial Line V1.02, 3.4.5 and 3.4.6: 150 ohm terminators, 450 to 650 ohm polarization
// on 5 V; by the divider 5 x 75 / (2 R + 75) and 5 x 60 / (2 R + 60).
static void polarization_of_the_serial_line_guide_idles_as_its_divider_says(void **state)
{
    (void)state;
    near(load_of(0.0, 2, 150.0, 650.0, 5.0).idle_v, 0.2727, 1e-4);
    near(load_of(0.0, 2, 150.0, 450.0, 5.0).idle_v, 0.3846, 1e-4);
    near(load_of(0.0, 2, 120.0, 650.0, 5.0).idle_v, 0.2206, 1e-4);
    // 28 unit loads more take it under the threshold.
    struct lw_line_load loaded = load_of(28.0, 2, 120.0, 650.0, 5.0);
    near(loaded.idle_v, 0.1946, 1e-4);
    assert_true(loaded.idle_undefined);
    assert_false(loaded.too_many_loads);
}

// TI SLLA272, equation 2: at least 250 mV from 4.75 V on 120 ohm cable with 32 unit loads asks for
// 528 ohm. It counts a unit load from each line to ground, so that 16 of ours stand between the
// lines, and leaves V_AB against the bus supply away: at its resistor the divider gives 5 % less.
static void the_published_bias_resistor_gives_the_voltage_it_was_chosen_for(void **state)
{
    (void)state;
    double resistor_ohm = 4.75 / (0.25 * (1.0 / 375.0 + 4.0 / 120.0));
    near(resistor_ohm, 528.0, 0.5);
    near(load_of(16.0, 2, 120.0, resistor_ohm, 4.75).idle_v, 0.25, 0.05 * 0.25 + 1e-3);
    double exact_ohm = (4.75 - 0.25) / (0.25 * (1.0 / 375.0 + 4.0 / 120.0));
    near(load_of(16.0, 2, 120.0, exact_ohm, 4.75).idle_v, 0.25, 1e-9);
}

// The simple limit: 5 V, 60 ohm, 200 mV allow at most 720 ohm a side.
static void the_simple_limit_of_a_bias_resistor_meets_the_threshold(void **state)
{
    (void)state;
    near(load_of(0.0, 2, 120.0, 720.0, 5.0).idle_v, 0.2, 1e-9);
}

// Renesas TB509: 333.33 ohm bias on 120 ohm cable wants 146.34 ohm at that end.
static void the_biased_end_is_terminated_as_published(void **state)
{
    (void)state;
    near(lw_biased_end_ohm(1000.0 / 3.0, 120.0), 146.34, 0.005);
    assert_true(isinf(lw_biased_end_ohm(50.0, 120.0)));
}

// 120 || 120 || 375 ohm (TI SLLA272: 32 unit loads are 375 ohm) is 51.72 ohm: below the 54 ohm at
// which drivers are tested.
static void a_full_line_loads_a_driver_below_its_test_load(void **state)
{
    (void)state;
    struct lw_line_load load = load_of(32.0, 2, 120.0, 0.0, 0.0);
    near(load.driver_ohm, 51.72, 0.005);
    assert_true(load.driver_overloaded);
    assert_false(load.too_many_loads);
    near(load.idle_v, 0.0, 0.0);
    assert_true(load_of(32.0, 2, 120.0, 560.0, 5.0).too_many_loads);
    assert_true(load_of(1.0, 3, 120.0, 0.0, 0.0).driver_overloaded);
    near(load_of(0.0, 2, 120.0, 0.0, 0.0).terminated_ohm, 60.0, 1e-9);
}

// TI SLLA272, stub table: rise times of 100, 250 and 500 ns at 78 % of light give 7, 19 and 38 ft.
static void stubs_follow_the_published_table(void **state)
{
    (void)state;
    static const double rows[][2] = {{100e-9, 7.0}, {250e-9, 19.0}, {500e-9, 38.0}};
    for (size_t i = 0; i < 3; i++) {
        double feet = lw_longest_stub_m(rows[i][0], 0.78) / 0.3048;
        assert_true(floor(feet) == rows[i][1]);
    }
}

// TI SLLA272: 12 m at 10 Mbit/s and 1200 m at 100 kbit/s, both 1.2e8 metres x bit/s.
static void the_usual_length_rule_stays_inside_its_end_points(void **state)
{
    (void)state;
    near(lw_longest_line_m(10e6, LW_LENGTH_RATE_USUAL), 10.0, 1e-9);
    near(lw_longest_line_m(100e3, LW_LENGTH_RATE_USUAL), 1000.0, 1e-9);
    near(lw_longest_line_m(100e3, LW_LENGTH_RATE_CAREFUL), 100.0, 1e-9);
    near(lw_slowest_rise_s(100e3), 3e-6, 1e-15);
}

// Receivers over -7..+12 V, drivers at -1..+3 V (TIA/EIA-485-A): 6 V to the lower end.
static void zero_volts_may_rise_by_six_volts(void **state)
{
    (void)state;
    near(lw_common_mode_margin_v(0.0), 6.0, 1e-12);
    near(lw_common_mode_margin_v(6.0), 0.0, 1e-12);
    assert_true(lw_common_mode_margin_v(6.5) < 0.0);
}

// 8 bytes out, 9 back at 19200 bit/s with 11 bits: 17 x 11 / 19200 s, two silences of 38.5 bits,
// and 12 ms: 9.740 + 4.010 + 12 ms. Above 19200 bit/s the silence is 1.75 ms (serial line 2.5.1.1).
static void a_cycle_is_characters_silences_and_latency(void **state)
{
    (void)state;
    struct lw_poll polls[24];
    for (size_t i = 0; i < 24; i++) {
        polls[i] = (struct lw_poll){8, 9, 0.012};
    }
    near(lw_cycle_s(polls, 1, 19200.0, 11.0), 25.750e-3, 1e-6);
    near(lw_cycle_s(polls, 24, 19200.0, 11.0), 24.0 * 25.750e-3, 24e-6);
    near(lw_cycle_s(polls, 1, 115200.0, 11.0), 17.0 * 11.0 / 115200.0 + 0.0035 + 0.012, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ten_terminated_nodes_idle_as_published),
        cmocka_unit_test(polarization_of_the_serial_line_guide_idles_as_its_divider_says),
        cmocka_unit_test(the_published_bias_resistor_gives_the_voltage_it_was_chosen_for),
        cmocka_unit_test(the_simple_limit_of_a_bias_resistor_meets_the_threshold),
        cmocka_unit_test(the_biased_end_is_terminated_as_published),
        cmocka_unit_test(a_full_line_loads_a_driver_below_its_test_load),
        cmocka_unit_test(stubs_follow_the_published_table),
        cmocka_unit_test(the_usual_length_rule_stays_inside_its_end_points),
        cmocka_unit_test(zero_volts_may_rise_by_six_volts),
        cmocka_unit_test(a_cycle_is_characters_silences_and_latency),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
