// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words for outcomes, as records carry them.
#include "modbus/exchange.h"

#include <assert.h>

const char *lw_outcome_word(enum lw_outcome outcome)
{
    switch (outcome) {
    case LW_ANSWERED:
        return "answered";
    case LW_EXCEPTION:
        return "exception";
    case LW_NO_ANSWER:
        return "no_answer";
    case LW_CRC_ERROR:
        return "crc_error";
    case LW_WRONG_ANSWER:
        return "wrong_answer";
    case LW_NOT_SENT:
        return "not_sent";
    }
    assert(!"an outcome outside its enum");
    return "unknown";
}
