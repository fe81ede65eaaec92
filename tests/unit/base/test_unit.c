// SPDX-License-Identifier: GPL-3.0-or-later
//
// Units: exact where their definition is (SI prefixes; 1 inch = 25.4 mm and 1 bar = 100 kPa as in
// the SI Brochure and NIST SP 811).
#include "base/unit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void assert_factor(const char *from, const char *to, double expected)
{
    double factor = 0;
    assert_true(lw_unit_factor(from, to, &factor));
    assert_true(factor == expected);
}

static void factors_are_exact(void **state)
{
    (void)state;
    assert_factor("mm", "um", 1000);
    assert_factor("um", "mm", 0.001);
    assert_factor("inch", "mm", 25.4);
    assert_factor("mm", "mm", 1);
    assert_factor("A", "mA", 1000);
    assert_factor("mV", "V", 0.001);
    assert_factor("bar", "kPa", 100);
    assert_factor("ms", "s", 0.001);
    assert_factor("%", "1", 0.01);
    assert_factor("degC", "degC", 1);
}

static void different_quantities_do_not_convert(void **state)
{
    (void)state;
    double factor = 7;
    assert_false(lw_unit_factor("mm", "mA", &factor));
    assert_false(lw_unit_factor("mm", "furlong", &factor));
    assert_false(lw_unit_factor("MM", "mm", &factor));
    assert_false(lw_unit_factor("count", "1", &factor));
    assert_true(factor == 7);
}

static void the_units_of_the_manual_are_known(void **state)
{
    (void)state;
    static const char *const names[] = {"mm",  "um",    "inch", "mA",  "A",    "mV", "V",
                                        "ohm", "W",     "kPa",  "bar", "degC", "Hz", "ms",
                                        "s",   "count", "deg",  "1",   "%"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        assert_true(lw_unit_known(names[i]));
    }
    assert_false(lw_unit_known(""));
    assert_false(lw_unit_known("MM"));
}

static void people_see_the_sign_where_it_can_be_shown(void **state)
{
    (void)state;
    assert_string_equal(lw_unit_shown("um", true), "µm");
    assert_string_equal(lw_unit_shown("degC", true), "°C");
    assert_string_equal(lw_unit_shown("ohm", true), "Ω");
    assert_string_equal(lw_unit_shown("ohm", false), "ohm");
    assert_string_equal(lw_unit_shown("mm", true), "mm");
    assert_string_equal(lw_unit_shown("furlong", true), "furlong");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(factors_are_exact),
        cmocka_unit_test(different_quantities_do_not_convert),
        cmocka_unit_test(the_units_of_the_manual_are_known),
        cmocka_unit_test(people_see_the_sign_where_it_can_be_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
