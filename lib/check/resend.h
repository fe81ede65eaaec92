// SPDX-License-Identifier: GPL-3.0-or-later
//
// Resend: the reads of a recording are sent again in their rhythm, and what the line answers now is
// held against what it answered then: who the nodes say they are, their readings within a
// tolerance, their status, their reply times, their errors. Uptimes, counters and voltages go their
// own way from day to day and are not compared.
#ifndef LW_CHECK_RESEND_H
#define LW_CHECK_RESEND_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_resend_options {
    // How far a reading may be from the recorded one, in the unit of the profile's readings. NAN:
    // what the noise limit allows between two readings at rest: a peak-to-peak limit itself, six
    // times a limit for the standard deviation (3 s to either side, common practice).
    double tolerance;
    bool allow_writes;      // sends 05 06 0F 10 too; the client must allow them as well
    double longest_pause_s; // longer pauses of the recording are cut to this; 0: 2 s
    const bool *selected;   // per tap; NULL: all
    bool addresses[256];    // without a plan; none set: all
};

// What becomes of one recorded request.
enum lw_resend_fate {
    LW_RESEND_SENT,
    LW_RESEND_WRITE,     // a write, and writes are not allowed
    LW_RESEND_FORBIDDEN, // a function that is never sent, or a broadcast
    LW_RESEND_CLEARS,    // it reads a register that clears on reading
    LW_RESEND_OTHER,     // not selected, or a reply without a request
};
// `plan` may be NULL. Pure.
enum lw_resend_fate lw_resend_fate(const struct lw_plan *plan,
                                   const struct lw_resend_options *options,
                                   const struct lw_exchange *exchange);

struct lw_resend_change {
    char *what, *then, *now; // "serial", "100003", "100773"
};
struct lw_resend_node {
    char *node; // NULL: not in the plan
    int tap, address;
    double sent, answered_then, answered_now; // counts; an exception is an answer
    double refusals_changed;                  // answered on one side, refused on the other, or with
                                              // another code
    struct lw_list identity;        // of struct lw_resend_change: what it says of itself differs
    double status_then, status_now; // of the last answer whose status differed; NAN: none did
    double values, values_outside;  // readings compared, and those beyond the tolerance
    double tolerance, largest_difference; // NAN: not judged
    char *unit;
    double reply_then_ms, reply_now_ms; // medians; NAN: no times
    bool slower, faster; // nine of ten replies now are beyond nine of ten then, and the times are
                         // good enough to say so
};
struct lw_resend_result {
    double sent, writes_left_out, forbidden, clears_left_out, others_left_out; // requests
    double writes_sent;
    double errors_then, errors_now; // no answer, damaged or wrong, of those sent
    double more_errors_p;           // probability of so many more errors now if nothing had changed
    double elapsed_s, behind_s;     // how much longer it took than the recording, pauses cut alike
    struct lw_list nodes;           // of struct lw_resend_node, by address
};
extern const struct lw_shape lw_resend_shape;

// Counts what would become of the requests, without sending. Pure.
void lw_resend_plan(const struct lw_plan *plan, const struct lw_resend_options *options,
                    const struct lw_exchange *exchanges, size_t count,
                    struct lw_resend_result *counts);

// The comparison folds over pairs, then (recorded) and now, in the order of the recording.
struct lw_resend_judge; // opaque, ours
// `plan` may be NULL: then readings and status have no meaning and only what every device says of
// itself (2B/0E, 11), answers and times are compared. LW_MEMORY.
enum lw_status lw_resend_judge_new(const struct lw_plan *plan, double tolerance,
                                   struct lw_resend_judge **judge, struct lw_error *error);
void lw_resend_judge_free(struct lw_resend_judge *judge); // NULL is allowed
enum lw_status lw_resend_judge_take(struct lw_resend_judge *judge, const struct lw_exchange *then,
                                    const struct lw_exchange *now, struct lw_error *error);
// Fills errors and nodes of a result that was zeroed; once. LW_MEMORY.
enum lw_status lw_resend_judge_result(struct lw_resend_judge *judge,
                                      struct lw_resend_result *result, struct lw_error *error);

// Sends and compares. On LW_SYSTEM, LW_CANCELLED and LW_REFUSED `result` holds what was compared by
// then.
enum lw_status lw_resend_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan,
                                 const struct lw_resend_options *options,
                                 const struct lw_exchange *exchanges, size_t count,
                                 struct lw_resend_result *result, struct lw_error *error);

void lw_resend_findings(const struct lw_plan *plan, const struct lw_resend_options *options,
                        const struct lw_resend_result *result, struct lw_findings *findings);

#endif
