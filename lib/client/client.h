// SPDX-License-Identifier: GPL-3.0-or-later
//
// Modbus exchanges over a line: t3.5 kept before every send, the deadline on the line's clock, late
// and foreign answers told apart, a local echo stripped, and the read-only guard on every request.
// It keeps listening between its own requests and stops at the first byte of somebody else.
#ifndef LW_CLIENT_CLIENT_H
#define LW_CLIENT_CLIENT_H

#include "client/run.h"

struct lw_client; // opaque, ours

struct lw_client_options {
    double reply_s; // time allowed from the last bit of the request to the first byte of the reply;
                    // 0: 0.05. The line's late_ns is waited for on top of it
    double gap_s;   // extra silence before each request, above t3.5
    int attempts;   // 0: 1
    bool allow_writes; // takes 05 06 0F 10 through the guard
    bool echo; // the adapter is known to echo; found by itself too (0x06-like requests aside)
    double gateway_s;   // MBAP: the least time allowed, whatever reply_s is, since a gateway queues
                        // and waits for its node first
    bool framing_known; // MBAP: the line's framing is that of the wire behind the gateway
};

// Borrows line and run. The run's exchange sink is called for every attempt.
enum lw_status lw_client_new(struct lw_line *line, const struct lw_run *run,
                             const struct lw_client_options *options, struct lw_client **client,
                             struct lw_error *error);
void lw_client_free(struct lw_client *client);
struct lw_line *lw_client_line(struct lw_client *client);
void lw_client_reply_s(struct lw_client *client, double reply_s); // from the next request on
void lw_client_attempts(struct lw_client *client, int attempts);

// One request, with retries for silence and garbage (not for exceptions). Fills `exchange` with the
// last attempt. Status is for the line alone: LW_OK whatever the node did, LW_SYSTEM, LW_CANCELLED,
// LW_REFUSED when the guard refuses the PDU or another master was heard (then error says what was
// heard; lw_client_foreign() is true). With LW_SYSTEM and LW_CANCELLED the attempt under way has no
// outcome and is not reported.
//
// A gateway's own exceptions, 0x0A (no path) and 0x0B (its node did not answer; MODBUS Application
// Protocol V1.1b3, 7), are no node's answer: on MBAP they are LW_NO_ANSWER with `exception` set,
// and counted. On RTU a node may be a gateway itself, and they stay LW_EXCEPTION.
//
// What was heard since the last exchange is told by the next one: `strays`, and a late answer's
// address, one an exchange, so that several take several exchanges to tell. The bytes of a broken
// (LW_CRC_ERROR) or wrong reply are no strays; of a wrong one `reply` and its times are filled, of
// a broken one the times alone. A line that does not fall silent for a second is not sent to
// (LW_NOT_SENT with LW_OK). An RTU reply does not say what it answers, so a node that still owes
// one for another request is given as long again before it is asked. A copy of a request that may
// also be its reply (08 sub 00, 05, 06) counts as a reply only where times or an earlier exchange
// show that it is no echo. Address 0..247 on RTU, 0..255 on MBAP.
enum lw_status lw_client_exchange(struct lw_client *client, uint8_t address,
                                  const struct lw_pdu *request, struct lw_exchange *exchange,
                                  struct lw_error *error);

// True when PDU is one of those the client sends without allow_writes: 01, 02, 03, 04, 07, 08 (sub
// 00 and 0B-12), 0B, 0C, 11, 14, 18, 2B/0E. Pure.
bool lw_client_reads_only(const struct lw_pdu *request);

// Waits so long while listening; bytes that come are strays, late answers are traced, and the next
// exchange tells of both. LW_REFUSED when another master is heard.
enum lw_status lw_client_wait(struct lw_client *client, double seconds, struct lw_error *error);

// Sets the line's rate and parity, and leaves eight characters of silence, the slower framing's:
// whoever listens at the other one may take what went before for characters that end later than
// they did, and with so much silence its frame is over all the same. Nothing is left when the line
// has this framing. LW_USAGE when the line has none to set; as lw_client_wait().
enum lw_status lw_client_set_framing(struct lw_client *client, const struct lw_framing *framing,
                                     struct lw_error *error);

struct lw_heard {
    size_t bytes;
    size_t frames;    // whole RTU frames with a right CRC
    uint8_t address;  // of the first such frame
    uint8_t function; // of the first such frame
    double listened_s;
    bool damaged;    // parity or stop-bit errors: likely another framing
    bool not_tested; // the line cannot hear others (a gateway)
};
// Listens without sending. LW_OK with what was heard; the caller decides (any byte means: do not
// transmit).
enum lw_status lw_listen_first(struct lw_line *line, double seconds, struct lw_heard *heard,
                               struct lw_error *error);

// What the gateway of an MBAP line has done in place of nodes, since the client was made.
struct lw_client_gateway {
    unsigned path;     // exceptions 0x0A: it has no way to the unit
    unsigned silent;   // exceptions 0x0B: its node did not answer it
    unsigned answers;  // of nodes
    unsigned too_fast; // answers sooner than request and reply take on the wire; with framing_known
};
void lw_client_gateway(const struct lw_client *client, struct lw_client_gateway *gateway);

bool lw_client_foreign(const struct lw_client *client);

#endif
