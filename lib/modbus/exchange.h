// SPDX-License-Identifier: GPL-3.0-or-later
//
// One request and what came of it: the currency of the client, the stream decoder, the virtual
// chain and every check. A silent node is an outcome here, not an error.
#ifndef LW_MODBUS_EXCHANGE_H
#define LW_MODBUS_EXCHANGE_H

#include <stddef.h>
#include <stdint.h>

// MODBUS over Serial Line V1.02, 2.5.1: a frame has at most 256 bytes, address 1, PDU 253, CRC 2.
// MODBUS Messaging on TCP/IP V1.0b: the MBAP header has 7 bytes, of which the last is the unit.
enum { LW_PDU_MAX = 253, LW_RTU_MAX = 256, LW_MBAP_MAX = 260, LW_ADDRESS_MAX = 247 };

enum lw_adu { LW_ADU_RTU, LW_ADU_MBAP };

// Function code and data, without address and CRC.
struct lw_pdu {
    size_t count; // 0..LW_PDU_MAX
    uint8_t bytes[LW_PDU_MAX];
};

enum lw_outcome {
    LW_ANSWERED,     // a valid reply that fits the request
    LW_EXCEPTION,    // the node answered with an exception; `exception` has the code
    LW_NO_ANSWER,    // nothing came before the deadline
    LW_CRC_ERROR,    // bytes came, none of them a valid frame
    LW_WRONG_ANSWER, // a valid frame that cannot be the reply: other address, function or length
    LW_NOT_SENT,     // the read-only guard refused, or the line was not free
};

// Times are on the line's clock. A time that does not apply is -1.
struct lw_exchange {
    uint8_t address; // 0..247 (RTU), unit 0..255 (MBAP)
    enum lw_outcome outcome;
    uint8_t exception;                     // with LW_EXCEPTION; a gateway's with LW_NO_ANSWER
    uint8_t attempt;                       // 1 for the first try
    uint16_t strays;                       // bytes heard that belong neither to request nor reply
    uint8_t late_address;                  // with strays that were a late reply: whose; else 0
    int64_t late_by_ns;                    // how long after its own deadline that late reply ended
    int64_t sent_first_ns, sent_last_ns;   // first bit of the first byte, last bit of the last
    int64_t reply_first_ns, reply_last_ns; // the same, as far as the line knows
    int64_t timing_u_ns;                   // standard uncertainty of the reply's times
    struct lw_pdu request, reply;          // reply also with LW_WRONG_ANSWER; else of count 0
};

// "answered", "no_answer", ... as in records.
const char *lw_outcome_word(enum lw_outcome outcome);

#endif
