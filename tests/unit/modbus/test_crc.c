// SPDX-License-Identifier: GPL-3.0-or-later
//
// The CRC against the printed worked example, against bitwise long division, and by its residue.
#include "modbus/crc.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void the_worked_example_of_the_serial_line_guide_gives_1241(void **state)
{
    (void)state;
    // MODBUS over Serial Line V1.02, 6.2.2: 02 07 leaves 0x1241, sent as 41 12
    const uint8_t frame[] = {0x02, 0x07};
    assert_int_equal(lw_crc16(frame, sizeof frame), 0x1241);
}

static void the_digits_one_to_nine_give_4b37(void **state)
{
    (void)state;
    // The usual check input; the value follows from the definition in 6.2.2
    assert_int_equal(lw_crc16((const uint8_t *)"123456789", 9), 0x4B37);
}

static void a_frame_with_its_crc_leaves_zero(void **state)
{
    (void)state;
    const uint8_t frame[] = {0x02, 0x07, 0x41, 0x12};
    assert_int_equal(lw_crc16(frame, sizeof frame), 0);
}

// 6.2.2 word for word: exclusive or, shift right, exclusive or 0xA001 when a one fell out.
static uint16_t bit_by_bit(const uint8_t *bytes, size_t count)
{
    uint16_t crc = 0xFFFF;
    for (size_t i = 0; i < count; i++) {
        crc = (uint16_t)(crc ^ bytes[i]);
        for (int bit = 0; bit < 8; bit++) {
            int out = crc & 1;
            crc = (uint16_t)(crc >> 1);
            crc = (uint16_t)(out ? crc ^ 0xA001 : crc);
        }
    }
    return crc;
}

static void every_byte_after_every_byte_agrees_with_the_bitwise_rule(void **state)
{
    (void)state;
    for (unsigned pair = 0; pair < 0x10000; pair++) {
        const uint8_t bytes[] = {(uint8_t)(pair >> 8), (uint8_t)pair};
        assert_int_equal(lw_crc16(bytes, 2), bit_by_bit(bytes, 2));
    }
}

static void no_bytes_leave_the_preset(void **state)
{
    (void)state;
    assert_int_equal(lw_crc16(NULL, 0), LW_CRC16_START);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_worked_example_of_the_serial_line_guide_gives_1241),
        cmocka_unit_test(the_digits_one_to_nine_give_4b37),
        cmocka_unit_test(a_frame_with_its_crc_leaves_zero),
        cmocka_unit_test(every_byte_after_every_byte_agrees_with_the_bitwise_rule),
        cmocka_unit_test(no_bytes_leave_the_preset),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
