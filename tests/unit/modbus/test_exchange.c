// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words for outcomes, which records carry and other programs read.
#include "modbus/exchange.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void outcomes_have_the_words_that_records_carry(void **state)
{
    (void)state;
    assert_string_equal(lw_outcome_word(LW_ANSWERED), "answered");
    assert_string_equal(lw_outcome_word(LW_EXCEPTION), "exception");
    assert_string_equal(lw_outcome_word(LW_NO_ANSWER), "no_answer");
    assert_string_equal(lw_outcome_word(LW_CRC_ERROR), "crc_error");
    assert_string_equal(lw_outcome_word(LW_WRONG_ANSWER), "wrong_answer");
    assert_string_equal(lw_outcome_word(LW_NOT_SENT), "not_sent");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(outcomes_have_the_words_that_records_carry),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
