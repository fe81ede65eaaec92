// SPDX-License-Identifier: GPL-3.0-or-later
//
// Exchanges written down by hand, byte by byte, so that a mistake of lib/modbus cannot hide one of
// lib/check.
#include "polling.h"

#include <string.h>

static const double ms = 1e6;

struct lw_exchange polling_exchange(const struct poll *poll)
{
    struct lw_exchange exchange = {
        .address = (uint8_t)poll->address,
        .outcome = poll->outcome,
        .exception = poll->exception,
        .attempt = 1,
        .sent_first_ns = (int64_t)(poll->at_ms * ms),
        .sent_last_ns = (int64_t)((poll->at_ms + 4.58) * ms),
        .reply_first_ns = -1,
        .reply_last_ns = -1,
        .request = {5,
                    {(uint8_t)poll->function, (uint8_t)(poll->start >> 8), (uint8_t)poll->start,
                     (uint8_t)(poll->count >> 8), (uint8_t)poll->count}},
    };
    if (poll->outcome == LW_ANSWERED) {
        exchange.reply.count = 2 + 2 * (size_t)poll->count;
        exchange.reply.bytes[0] = (uint8_t)poll->function;
        exchange.reply.bytes[1] = (uint8_t)(2 * poll->count);
        for (int i = 0; poll->words && i < poll->count; i++) {
            exchange.reply.bytes[2 + 2 * i] = (uint8_t)(poll->words[i] >> 8);
            exchange.reply.bytes[3 + 2 * i] = (uint8_t)poll->words[i];
        }
    }
    if (poll->outcome == LW_ANSWERED || poll->outcome == LW_EXCEPTION) {
        exchange.reply_first_ns = exchange.sent_last_ns + (int64_t)(poll->reply_ms * ms);
        exchange.reply_last_ns = exchange.reply_first_ns + (int64_t)(5 * ms);
    }
    return exchange;
}

void polling_float(float value, uint16_t words[2])
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    words[0] = (uint16_t)(bits >> 16);
    words[1] = (uint16_t)bits;
}
