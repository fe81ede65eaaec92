// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a client has asked whom, so that a frame that comes later than it was waited for is laid at
// the right node's door and is not taken for another master. Pure. Inside lib/client only.
#ifndef LW_CLIENT_ASKED_H
#define LW_CLIENT_ASKED_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stdint.h>

struct lw_question {
    struct lw_pdu request; // count 0: none
    uint16_t transaction;  // MBAP
    int64_t deadline_ns;
    bool answered;
};

bool lw_question_open(const struct lw_question *question); // asked and not answered
bool lw_question_is(const struct lw_question *question, const struct lw_pdu *request);

// The last two different requests to each address, the later one first, and the addresses of the
// last requests, the latest first.
enum { LW_ASKED_RECENT = 4 };
struct lw_asked {
    struct lw_question of[256][2];
    uint8_t recent[LW_ASKED_RECENT];
};

// Enters a request that is about to be waited for.
struct lw_question *lw_asked_enter(struct lw_asked *asked, uint8_t address,
                                   const struct lw_pdu *request, uint16_t transaction,
                                   int64_t deadline_ns);

enum lw_explained {
    LW_EXPLAINED_LATE,     // answers a request that had been given up
    LW_EXPLAINED_REPEATED, // answers a request that has its answer already, or repeats a request
    LW_EXPLAINED_ASKED,    // no answer to what was asked, but from a node that was
    LW_UNEXPLAINED,        // a request, or from an address never asked
};

// Explains an RTU frame. `late` is set with LW_EXPLAINED_LATE to the question, which then counts as
// answered. `but` (or NULL) is a question still being waited for: its answer is for the caller to
// take, and what fits it here is a repetition.
enum lw_explained lw_asked_explain(struct lw_asked *asked, uint8_t address,
                                   const struct lw_pdu *pdu, const struct lw_question *but,
                                   struct lw_question **late);

// Bytes that are the end of a late answer whose beginning was lost while we sent: address, function
// and byte count of an answer are known from its question, so the CRC proves whose it is. Returns
// the question, which then counts as answered, or NULL.
struct lw_question *lw_asked_tail(struct lw_asked *asked, const uint8_t *bytes, size_t count,
                                  const struct lw_question *but, uint8_t *address);

// The question that had this transaction, if it is still open; else NULL.
struct lw_question *lw_asked_transaction(struct lw_asked *asked, uint8_t address,
                                         uint16_t transaction);

#endif
