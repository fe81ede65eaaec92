// SPDX-License-Identifier: GPL-3.0-or-later
//
// Restart: the chain is switched off and on again while its nodes are polled. Who comes, how long
// it takes, who stays away, who resets again, whose identity was stale. What is seen is a log of
// polls and turns of switches, and a pure judge reads it. docs/method/restart.md.
#ifndef LW_CHECK_RESTART_H
#define LW_CHECK_RESTART_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

enum { LW_RESTART_CYCLES_MAX = 20, LW_RESTART_ALL = -1 };

// In which order the sections come on again; off they go together.
enum lw_restart_order { LW_RESTART_TOGETHER, LW_RESTART_FORWARD, LW_RESTART_BACKWARD };
const char *lw_restart_order_word(enum lw_restart_order order); // "together", ...
// Of a cycle (from 1): together, forward, backward, together, ...; always together when the
// sections have one switch.
enum lw_restart_order lw_restart_order_of(int cycle, bool one_switch);

struct lw_restart_options {
    bool gentle;
    const bool *selected; // per tap; NULL: all
    double off_s;         // how long it stays off
    double quiet_s;       // the next section follows when nobody new has come for so long
    double watch_s;       // the same for the end of a cycle
    double warm_up_s;     // further reading after the last cycle
};

// A poll of one node. Values that were not read are NAN, status -1.
struct lw_restart_poll {
    double time_s; // of the request's end, from the log's start
    int tap;
    bool answered;
    double uptime_s, restarts, messages, lowest_v, reading;
    int status;
};
// A switch was turned.
struct lw_restart_turn {
    double time_s;
    int cycle, order;
    int supply; // from 0 in the plan's order, or LW_RESTART_ALL
    bool on;
};
// Who a node says it is, before the first cycle (0) or after one.
struct lw_restart_identity {
    int tap, cycle;
    char *text;
};
struct lw_restart_log {
    struct lw_list polls, turns, identities;
    bool *counts; // per tap: tells its restarts by the bus messages it has counted (08, 0B)
    int64_t start_ns;
    double hand_s; // how well hand and key meet when a switch is turned
};
void lw_restart_log_finish(struct lw_restart_log *log);

// Everything the four below share. All borrowed.
struct lw_restart {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_plan *plan;
    const struct lw_restart_options *options;
    struct lw_restart_log *log;
};
enum lw_restart_phase {
    LW_RESTART_OFF,     // until off_s have passed
    LW_RESTART_ON,      // until nobody new has come for quiet_s, or all are there
    LW_RESTART_WATCH,   // until nobody new has come for watch_s
    LW_RESTART_WARM_UP, // until warm_up_s have passed
};
// Begins the log: who is there before, and as whom. Status as lw_client_exchange(), as below.
enum lw_status lw_restart_before(const struct lw_restart *restart, struct lw_error *error);
// Notes that a switch was turned just now. LW_MEMORY.
enum lw_status lw_restart_turned(const struct lw_restart *restart, int cycle,
                                 enum lw_restart_order order, int supply, bool on,
                                 struct lw_error *error);
enum lw_status lw_restart_watch(const struct lw_restart *restart, enum lw_restart_phase phase,
                                struct lw_error *error);
// After a cycle: who they say they are now.
enum lw_status lw_restart_identify(const struct lw_restart *restart, int cycle,
                                   struct lw_error *error);

// One node in one cycle.
struct lw_restart_came {
    int cycle;
    bool away;             // no answer at all
    bool still_on;         // it went on answering while it should have been off
    bool lost;             // it answered and was silent in the end
    double first_answer_s; // from the turn of a switch before it; NAN: none
    double resolution_s;   // the first answer came at most so much earlier
    int again;   // restarts and drop-outs after the first answer, and further starts before it
    bool proved; // of which at least one by the node's own uptime or counters
};
struct lw_restart_node {
    int tap, address;
    char *node;
    bool before;           // it answered before the first cycle
    struct lw_list cycles; // of struct lw_restart_came
    bool stale_before, stale_after;
    char *identity_before, *identity_after; // only where they differ
    double lowest_v;                        // its own lowest since power-up; NAN: not read
    char *unit;                             // of the readings; NULL: it has none
    double reading_before, reading_first, reading_last, drift_per_min;
};
struct lw_restart_cycle {
    int cycle, order;
    double off_s, watched_s;
    int came, away, again; // nodes
};
struct lw_restart_result {
    char *made_sure_by;
    int cycles_asked;
    double hand_s, elapsed_s;
    struct lw_list cycles; // of struct lw_restart_cycle
    struct lw_list nodes;  // of struct lw_restart_node, by tap
};
extern const struct lw_shape lw_restart_shape;

// Pure. Cycles without an `on` are not judged. LW_MEMORY.
enum lw_status lw_restart_judge(const struct lw_plan *plan,
                                const struct lw_restart_options *options,
                                const struct lw_restart_log *log, struct lw_restart_result *result,
                                struct lw_error *error);
// Pure.
void lw_restart_findings(const struct lw_plan *plan, const struct lw_restart_result *result,
                         struct lw_findings *findings);

// The names of the supplies that feed the section: "PS1, PS2".
void lw_restart_supplies(const struct lw_plan *plan, size_t section, char *text, size_t size);

#endif
