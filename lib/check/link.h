// SPDX-License-Identifier: GPL-3.0-or-later
//
// Link: how well the line carries. Frame errors pooled over the line against the limit, nodes
// compared with each other, bursts kept apart from single errors, reply times, and the cycle the
// line can hold.
#ifndef LW_CHECK_LINK_H
#define LW_CHECK_LINK_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_link_options {
    double seconds;      // 0: until the bound decides, at most most_s
    double most_s;       // 0: 600
    bool *selected;      // per tap; NULL: all
    bool addresses[256]; // without a plan: whom to poll
};
struct lw_link_times {
    double p50, p95, max; // ms
};
struct lw_link_node {
    char *node;
    int tap, address;
    double polls, no_answer, crc_error, wrong_answer, exception; // counts
    double error_rate, upper95;
    struct lw_link_times reply_ms;
};
struct lw_link_line {
    double polls, errors, error_rate, lower95, upper95; // bounds on clusters of errors, one-sided
    double events; // errors within a second of each other are one
    double bursts; // events of two errors or more
    double bursts_per_h, worst_second;
    double n_to_decide; // polls at which the rate as it stands would decide
    int verdict;        // enum lw_verdict of the rate against the limit
};
struct lw_link_result {
    double cycle_ms; // one round over all nodes, as it went (median)
    double longest_cycle_ms;
    double wire_cycle_ms; // what the wire itself takes for it
    double elapsed_s;
    double late_ms;   // the longest that adapter and system may have kept an answer
    double spread_ms; // of the steadiest node's answers: the 95 % one behind the fastest; NAN: no
                      // node has given twenty
    struct lw_link_line line;
    struct lw_list nodes; // of struct lw_link_node
};
extern const struct lw_shape lw_link_shape;

// The judge folds over exchanges one at a time, in constant memory, wherever they come from.
struct lw_link_judge; // opaque, ours
enum lw_status lw_link_judge_new(const struct lw_plan *plan, struct lw_link_judge **judge,
                                 struct lw_error *error);
void lw_link_judge_free(struct lw_link_judge *judge);
void lw_link_judge_take(struct lw_link_judge *judge, const struct lw_exchange *exchange);
// True when the pooled bound was on one side of the limit at one of the few sizes at which it is
// looked at: the first at which no error at all would prove the limit, then a quarter more each
// time.
bool lw_link_judge_decided(struct lw_link_judge *judge);
enum lw_status lw_link_judge_result(const struct lw_link_judge *judge,
                                    struct lw_link_result *result, struct lw_error *error);

// Polls until the bound decides or the time is up; one round asks each node once for its reading.
enum lw_status lw_link_measure(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, const struct lw_link_options *options,
                               struct lw_link_result *result, struct lw_error *error);
void lw_link_findings(const struct lw_plan *plan, const struct lw_link_result *result,
                      struct lw_rule *rule, struct lw_findings *findings);

#endif
