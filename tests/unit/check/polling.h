// SPDX-License-Identifier: GPL-3.0-or-later
//
// Exchanges of a controller that exists on paper only: what the tests of listening fold over.
#ifndef TESTS_CHECK_POLLING_H
#define TESTS_CHECK_POLLING_H

#include "modbus/exchange.h"

#include <stddef.h>

struct poll {
    int address, function, start, count; // registers
    const uint16_t *words;               // of the answer; NULL: zeros
    double at_ms, reply_ms;
    enum lw_outcome outcome;
    uint8_t exception;
};

// At 19200/8E1 a read takes 8 characters of 11 bits, 4.58 ms.
struct lw_exchange polling_exchange(const struct poll *poll);
// The two words of a 32-bit float, high one first (IEEE 754).
void polling_float(float value, uint16_t words[2]);

#endif
