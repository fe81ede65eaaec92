// SPDX-License-Identifier: GPL-3.0-or-later
//
// Listen: what passes on a line that somebody else runs. Nothing is ever sent. A listener takes the
// line's bytes, finds the framing, has them decoded, and folds the exchanges, one at a time and in
// constant memory, into who asks whom for what, how often, and what becomes of it.
#ifndef LW_CHECK_LISTEN_H
#define LW_CHECK_LISTEN_H

#include "check/listen_framing.h"
#include "client/run.h"
#include "modbus/stream.h"
#include "site/plan.h"
#include "site/record.h"

enum { LW_LISTEN_READS = 512 }; // different requests that are kept apart

struct lw_listen_times {
    double p50, p95, max; // ms, NAN when there are none
};
// One request that the controller makes again and again.
struct lw_listen_read {
    char *node; // name in the plan, NULL: none
    int tap, address, function;
    int start, count; // registers or bits, as on the wire; -1 where the function has none
    double requests, replies, unanswered, damaged, wrong, exceptions;
    int exception;         // the last code; 0: none
    double longest_repeat; // most replies in a row that were the same, bit for bit
    double in_range, in_range_swapped, decoded; // readings in the profile's range as its word order
                                                // has them, with the words swapped, of how many
    struct lw_listen_times reply_ms, period_ms;
};
struct lw_listen_node {
    char *node;
    int tap, address;
    double requests, replies, unanswered, crc_errors, exceptions;
    struct lw_listen_times reply_ms;
};
struct lw_listen_framing {
    char *framing;
    bool given, found;
    int switches; // framings that were tried before it
    double found_after_s;
};
// Something that was not as it should be, while the line was watched.
struct lw_listen_event {
    int number;
    char *kind, *node;
    int address;
    char *from, *to; // RFC 3339
    double count;
    char *says;
    struct lw_list captures; // of char *: what passed around it
};
enum { LW_LISTEN_EVENTS = 1000 }; // that are kept in a result
struct lw_listen_result {
    struct lw_listen_framing framing;
    double elapsed_s; // heard at that framing
    double bytes;
    double frames, crc_errors, exchanges, unanswered, exceptions;
    double wrong;          // whole answers that do not fit the question
    double orphans;        // answers to no question that was heard
    double crossed;        // questions while another was still to be answered
    double damaged_pieces; // with parity or stop-bit errors
    double bus_load_pct, busiest_second_pct;
    struct lw_listen_times cycle_ms; // until the same is asked again
    double timeout_ms;     // shortest wait after a question that nobody answered; NAN: none seen
    double more_requests;  // beyond the LW_LISTEN_READS kept apart
    struct lw_list nodes;  // of struct lw_listen_node, by address
    struct lw_list reads;  // of struct lw_listen_read, in the order of their first coming
    struct lw_list events; // of struct lw_listen_event
    double events_in_all;  // NAN: the line was not watched
    double most_bytes;     // on disk at any time while watching; NAN: not watched
};
extern const struct lw_shape lw_listen_shape;

// The fold. `plan` may be NULL, and must outlive it.
struct lw_listen_fold; // opaque, ours
enum lw_status lw_listen_fold_new(const struct lw_plan *plan, struct lw_listen_fold **fold,
                                  struct lw_error *error);
void lw_listen_fold_free(struct lw_listen_fold *fold);
void lw_listen_fold_exchange(struct lw_listen_fold *fold, const struct lw_exchange *exchange);
// What was on the wire in a piece: for the load.
void lw_listen_fold_piece(struct lw_listen_fold *fold, const struct lw_framing *framing,
                          const struct lw_piece *piece);
// Fills all but `framing`, `elapsed_s` and the decoder's totals. Free the result with
// lw_json_free(&lw_listen_shape, ...). `result` is made empty first. LW_MEMORY.
enum lw_status lw_listen_fold_result(const struct lw_listen_fold *fold, double elapsed_s,
                                     struct lw_listen_result *result, struct lw_error *error);

// A value out of the controller's own polls.
struct lw_listen_value {
    const struct lw_chain_entry *entry;
    size_t tap;
    const struct lw_register *reg;
    double value;  // in the register's unit
    int64_t at_ns; // when its answer began
};
// Decodes every numeric register of the plan's profile that an answered read holds whole.
void lw_listen_values(const struct lw_plan *plan, const struct lw_exchange *exchange,
                      void (*take)(void *user, const struct lw_listen_value *value), void *user);

struct lw_listener_options {
    bool framing_given; // the line's is right: do not hunt
    void *user;
    // The line's framing has just been changed: what was heard before means nothing. May be NULL.
    enum lw_status (*switched)(void *user, struct lw_error *error);
    // NULL: all. The exchanges of other addresses are passed over; the line's own figures hold for
    // all of it.
    bool (*wanted)(void *user, uint8_t address);
    // These may be NULL. Frames and exchanges are told only once the framing is sure.
    void (*exchange)(void *user, const struct lw_exchange *exchange);
    void (*piece)(void *user, const struct lw_piece *piece);
    void (*frame)(void *user, const struct lw_stream_frame *frame);
};

// A listener on a line. It borrows line, run and plan (may be NULL). Lines that cannot hear others
// are LW_USAGE. The run's reading sink gets the values of readings, its exchange sink nothing (it
// is the client's).
struct lw_listener; // opaque, ours
enum lw_status lw_listener_new(struct lw_line *line, const struct lw_run *run,
                               const struct lw_plan *plan,
                               const struct lw_listener_options *options,
                               struct lw_listener **listener, struct lw_error *error);
void lw_listener_free(struct lw_listener *listener);

// Receives once, until `until_ns` at the latest, and takes in what came. LW_CANCELLED, LW_SYSTEM as
// lw_line_receive(), LW_MEMORY.
enum lw_status lw_listener_step(struct lw_listener *listener, int64_t until_ns,
                                struct lw_error *error);
// Decides about everything heard so far, as if the line had fallen silent.
void lw_listener_flush(struct lw_listener *listener);
// The line was lost and opened again. It gets the framing that was found.
enum lw_status lw_listener_reopened(struct lw_listener *listener, struct lw_line *line,
                                    struct lw_error *error);
uint64_t lw_listener_bytes(const struct lw_listener *listener); // in all, hunting included
enum lw_status lw_listener_result(struct lw_listener *listener, struct lw_listen_result *result,
                                  struct lw_error *error);

// The controller's polling held against the plan: does it ask every planned node, for the right
// registers in the right length and word order, is it patient enough for the slowest answer, which
// answers repeat unchanged.
void lw_listen_findings(const struct lw_plan *plan, const struct lw_listen_result *result,
                        struct lw_findings *findings);

#endif
