// SPDX-License-Identifier: GPL-3.0-or-later
//
// The read-only guard over every function code and every sub-function there is.
#include "client/client.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static bool reads(uint8_t function, uint8_t second, uint8_t third)
{
    const struct lw_pdu pdu = {.count = 5, .bytes = {function, second, third}};
    return lw_client_reads_only(&pdu);
}

static void exactly_these_functions_read(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6: those that leave a node as it is
    static const uint8_t readers[] = {0x01, 0x02, 0x03, 0x04, 0x07, 0x0B, 0x0C, 0x11, 0x14, 0x18};
    for (unsigned function = 0; function < 256; function++) {
        bool listed = memchr(readers, (int)function, sizeof readers) != NULL;
        if (function != 0x08 && function != 0x2B) {
            assert_int_equal(reads((uint8_t)function, 0, 0), listed);
        }
    }
}

static void exactly_the_echo_and_the_eight_counters_of_diagnostics_read(void **state)
{
    (void)state;
    // MODBUS Application Protocol V1.1b3, 6.8.1: 00 and 0B to 12; 01 restarts, 04 silences, 0A and
    // 14 clear
    for (unsigned sub = 0; sub < 0x10000; sub++) {
        bool wanted = sub == 0x00 || (sub >= 0x0B && sub <= 0x12);
        assert_int_equal(reads(0x08, (uint8_t)(sub >> 8), (uint8_t)sub), wanted);
    }
}

static void of_the_encapsulated_interface_only_identification_reads(void **state)
{
    (void)state;
    for (unsigned mei = 0; mei < 256; mei++) {
        assert_int_equal(reads(0x2B, (uint8_t)mei, 1), mei == 0x0E);
    }
}

static void what_is_cut_short_is_refused(void **state)
{
    (void)state;
    const struct lw_pdu empty = {0}, diagnostics = {.count = 2, .bytes = {0x08, 0x00}},
                        encapsulated = {.count = 1, .bytes = {0x2B, 0x0E}};
    assert_false(lw_client_reads_only(&empty));
    assert_false(lw_client_reads_only(&diagnostics));
    assert_false(lw_client_reads_only(&encapsulated));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exactly_these_functions_read),
        cmocka_unit_test(exactly_the_echo_and_the_eight_counters_of_diagnostics_read),
        cmocka_unit_test(of_the_encapsulated_interface_only_identification_reads),
        cmocka_unit_test(what_is_cut_short_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
