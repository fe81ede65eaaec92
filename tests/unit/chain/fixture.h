// SPDX-License-Identifier: GPL-3.0-or-later
//
// Chains for the tests of lib/chain: a plan is written as JSON, loaded and built, and asked by a
// master of a few lines, so that a mistake of lib/client can't hide one of the chain.
#ifndef TESTS_CHAIN_FIXTURE_H
#define TESTS_CHAIN_FIXTURE_H

#include "chain/chain.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

struct fixture_plan {
    const char *framing;        // NULL: 19200/8E1
    size_t probes, loops, airs; // taps in this order; addresses from 1
    const char *supplies;       // JSON array; NULL: one strong 24 V at tap 1
    const char *span;           // JSON object; NULL: half a metre of 0.5 mm2
    const char *line;           // further keys of `line`, beginning with a comma; may be NULL
    const char *virtually;      // further keys of `virtual`, beginning with a comma; may be NULL
};

struct fixture {
    struct lw_plan plan;
    struct lw_chain *chain;
    struct lw_line *line;
};

// Fails the test when the plan does not load.
void fixture_open(struct fixture *fixture, const struct fixture_plan *plan,
                  const struct lw_chain_options *options);
void fixture_close(struct fixture *fixture);

struct answer {
    size_t count; // bytes heard before the time was up or silence ended them
    uint8_t bytes[512];
    unsigned flags;
    int64_t sent_last_ns, first_ns, last_ns;
    bool whole; // one frame with a right CRC
    uint8_t address;
    struct lw_pdu pdu;
};

// Sends and listens for wait_ms from the request's end to the reply's first byte, then to silence.
void ask(struct lw_line *line, uint8_t address, const struct lw_pdu *request, double wait_ms,
         struct answer *answer);
void ask_registers(struct lw_line *line, uint8_t address, uint8_t function, uint16_t at,
                   uint16_t count, struct answer *answer);
uint16_t word_of(const struct answer *answer, size_t index); // of a reply to 03 or 04
double float_of(const struct answer *answer, size_t index);  // two words, high first
void listen_ms(struct lw_line *line, double ms, struct answer *answer);

#endif
