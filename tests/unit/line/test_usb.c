// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a place on USB gives and what a device asks, by the published units.
#include "line/usb.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

// bMaxPower 50 is 100 mA in units of 2 mA; in units of 8 mA 112 is 896 mA and 113 is 904 mA (Linux
// kernel, changes to the gadget drivers' MaxPower; USB 3.1, table 9-22).
static void max_power_counts_in_2_ma_and_from_superspeed_on_in_8_ma(void **state)
{
    (void)state;
    assert_int_equal(lw_usb_asks_ma(50, 12), 100);
    assert_int_equal(lw_usb_asks_ma(250, 480), 500);
    assert_int_equal(lw_usb_asks_ma(112, 5000), 896);
    assert_int_equal(lw_usb_asks_ma(113, 10000), 904);
}

// Unit loads: 100 mA and at most 5 (USB 2.0, 7.2.1), 150 mA and at most 6 (USB 3.1, 11.4.1).
static void a_hub_fed_by_the_bus_gives_one_unit_load_and_others_five_or_six(void **state)
{
    (void)state;
    assert_int_equal(lw_usb_gives_ma(LW_USB_FED_SELF, 12), 500);
    assert_int_equal(lw_usb_gives_ma(LW_USB_FED_BUS, 480), 100);
    assert_int_equal(lw_usb_gives_ma(LW_USB_FED_SELF, 5000), 900);
    assert_int_equal(lw_usb_gives_ma(LW_USB_FED_BUS, 5000), 150);
}

static void an_unknown_hub_gives_an_unknown_current(void **state)
{
    (void)state;
    assert_int_equal(lw_usb_gives_ma(LW_USB_FED_UNKNOWN, 12), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(max_power_counts_in_2_ma_and_from_superspeed_on_in_8_ma),
        cmocka_unit_test(a_hub_fed_by_the_bus_gives_one_unit_load_and_others_five_or_six),
        cmocka_unit_test(an_unknown_hub_gives_an_unknown_current),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
