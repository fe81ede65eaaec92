// SPDX-License-Identifier: GPL-3.0-or-later
//
// The client's own parts, shared by its files: client.c does attempts and waiting, rtu.c and mbap.c
// find the answer in what was heard. Inside lib/client only.
#ifndef LW_CLIENT_INSIDE_H
#define LW_CLIENT_INSIDE_H

#include "client/asked.h"
#include "client/client.h"
#include "client/inbox.h"

enum { LW_LATE_MAX = 32 };

struct lw_client {
    struct lw_line *line;
    const struct lw_run *run;
    int64_t reply_ns, gap_ns, gateway_ns;
    bool framing_known;
    struct lw_client_gateway gateway;
    int attempts;
    bool allow_writes;
    bool echoes;     // the adapter echoes: told, or found
    bool echoes_not; // an answer came without an echo before it
    bool foreign;    // another master was heard
    uint8_t foreign_address, foreign_function;
    uint16_t transaction;
    int64_t quiet_ns;  // last bit heard or sent
    unsigned strays;   // since the last exchange
    size_t late_count; // late answers heard and not yet reported, the oldest first
    struct {
        uint8_t address;
        int64_t by_ns;
    } late[LW_LATE_MAX];
    struct lw_inbox inbox;
    struct lw_asked asked;
};

// One attempt while it is waited for.
struct lw_attempt {
    struct lw_exchange *exchange;
    struct lw_question *question;
    const uint8_t *sent; // the whole frame
    size_t sent_count;
    bool could_echo; // a reply to this request may be the request itself
    bool echo_taken;
    bool done;        // answered, or excepted
    bool wrong;       // a valid frame that cannot be the reply came
    unsigned garbled; // bytes of no valid frame
    int64_t garbled_first_ns, garbled_last_ns;
};

// Receives one piece into the inbox; *count gets its bytes, 0 at the deadline.
enum lw_status lw_client_hear(struct lw_client *client, int64_t deadline_ns, size_t *count,
                              struct lw_error *error);
int64_t lw_client_now_ns(const struct lw_client *client);

// Notes the reply found, at these bytes of the inbox.
void lw_attempt_take(struct lw_client *client, struct lw_attempt *attempt,
                     const struct lw_pdu *reply, size_t at, size_t count);

// Whether a reply is the gateway's own word and no node's.
bool lw_is_gateways(const struct lw_client *client, const struct lw_pdu *reply);

// Notes a valid frame that cannot be the reply; of several the first is kept.
void lw_attempt_wrong(struct lw_client *client, struct lw_attempt *attempt,
                      const struct lw_pdu *reply, size_t at, size_t count);

// Notes a late answer to `question` that ended at ends_ns.
void lw_client_note_late(struct lw_client *client, uint8_t address,
                         const struct lw_question *question, int64_t ends_ns);

// Looks for the answer in the inbox; `ended` says that silence has followed. What stands before the
// answer, and with `ended` everything, is explained and leaves the inbox.
void lw_rtu_look(struct lw_client *client, struct lw_attempt *attempt, bool ended);

// Explains and drops what was heard while nothing was asked for.
void lw_rtu_settle(struct lw_client *client);

// The same two for MBAP, where the inbox is a stream: a part of an ADU stays in it until it is
// whole or, with `ended`, given up.
void lw_mbap_look(struct lw_client *client, struct lw_attempt *attempt, bool ended);
void lw_mbap_settle(struct lw_client *client);

#endif
