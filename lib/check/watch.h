// SPDX-License-Identifier: GPL-3.0-or-later
//
// Watching a chain while hands are on it: the joint that fails is found by wiggling. The model
// takes one answer after the other and knows of every node how it is, how far its reading wanders,
// what has happened to it; and it chooses whom to ask next, so that a plug that lets go shows at
// once and not when its turn comes. Pure but for lw_live_step(); names begin with lw_live_, since
// lw_watch_ (listen_watch.h) is the listening watch of a line that somebody else polls.
#ifndef LW_CHECK_WATCH_H
#define LW_CHECK_WATCH_H

#include "check/ask.h"
#include "site/record.h"

// How a node is at a moment, from the least to the worst.
enum lw_live_state {
    LW_LIVE_WELL,
    LW_LIVE_WAITING, // not asked yet
    LW_LIVE_BEYOND,  // the reading is outside its range
    LW_LIVE_LOW,     // the volts at the node are below what its kind needs
    LW_LIVE_FLAGGED, // a bit in its status register
    LW_LIVE_JUMPED,  // the reading jumped a moment ago
    LW_LIVE_BACK,    // it was out, or started anew, a moment ago
    LW_LIVE_REFUSES, // it answers with an exception
    LW_LIVE_GARBLED, // what came last was damaged, or no fitting answer
    LW_LIVE_MISSED,  // it did not answer once; it is asked again at once
    LW_LIVE_OUT,     // it did not answer twice in a row and more
};
enum { LW_LIVE_STATES = LW_LIVE_OUT + 1 };
const char *lw_live_word(enum lw_live_state state); // "well", "not asked", ...; N_()
char lw_live_sign(enum lw_live_state state);        // one character, different for each state

enum lw_live_what {
    LW_LIVE_SILENT,    // from the first miss to the next answer
    LW_LIVE_DAMAGED,   // damaged or wrong answers, without a good one between
    LW_LIVE_REFUSAL,   // exceptions, without a good answer between
    LW_LIVE_JUMP,      // value: after, before: before
    LW_LIVE_FLAG,      // value: the status register
    LW_LIVE_VOLTS,     // value: the lowest
    LW_LIVE_RESTART,   // its uptime went back: from when it started to when that was seen
    LW_LIVE_OUTSIDE,   // value: the furthest outside the range
    LW_LIVE_BREAK,     // from this node on to the end all are silent
    LW_LIVE_UNPLUGGED, // the tester's own line was gone
    LW_LIVE_MARK,      // a person's: text
};
const char *lw_live_what_word(enum lw_live_what what); // "silent", "damaged", ...

enum { LW_LIVE_TEXT = 120, LW_LIVE_EVENTS = 2000 };
// Times in s since the watch began. An event without a node has index SIZE_MAX.
struct lw_live_event {
    enum lw_live_what what;
    size_t index;
    double from_s, to_s; // to_s NAN: it goes on
    double count;        // polls that saw it
    double value, before;
    char text[LW_LIVE_TEXT];
};

// What is known of one node; of its last good answer where nothing else is said. NAN: not known.
struct lw_live_node {
    const struct lw_chain_entry *entry; // of the plan
    size_t tap;
    const char *unit;          // of the reading, may be NULL
    double reading, low, high; // in `unit`; the range of its kind
    double resolution;         // in `unit`
    double silent_s;           // when the silence under way began; NAN: none
    double spread; // standard deviation over the window, or the last five; NAN under 3 readings
    double volts, lowest_v, needs_v;
    unsigned status;
    double polls, answers, silences, damaged, refusals; // polls, by what came of them
    double drop_outs; // silences of two polls and more, each counted once
    double jumps, restarts, flags;
    double longest_out_s, longest_unasked_s; // the latter while it was well
    double low_polls, outside_polls;
    double smallest, largest; // readings
};

struct lw_live_options {
    const bool *selected; // per tap; NULL: all
    double window_s;      // of the spread; 0: 5
};

struct lw_live; // opaque, ours

// `plan` must outlive it. LW_USAGE when no node is selected.
enum lw_status lw_live_new(const struct lw_plan *plan, const struct lw_live_options *options,
                           int64_t now_ns, struct lw_live **live, struct lw_error *error);
void lw_live_free(struct lw_live *live); // NULL is allowed

size_t lw_live_count(const struct lw_live *live); // nodes watched, in tap order from 0
const struct lw_live_node *lw_live_node(const struct lw_live *live, size_t index);
enum lw_live_state lw_live_state(const struct lw_live *live, size_t index, int64_t now_ns);

// Whom to ask now. Most turns go round the nodes that answer, in steps that jump along the chain;
// one in eight goes to the far end, whose silence tells of any break before it; one in eight to
// those that are silent; two to where the hands are. A node that missed or answered damaged is
// asked again at once. When the far end is silent the place of the break is halved. When one comes
// back, the others that were silent are asked at once, until one stays silent.
size_t lw_live_next(struct lw_live *live);
// The registers that are wanted of it: all that can be had in one request, else the reading, and
// the others in every eighth answer. Bits of LW_ROLE_BIT.
uint32_t lw_live_roles(const struct lw_live *live, size_t index);
// Takes what came of asking.
void lw_live_take(struct lw_live *live, size_t index, const struct lw_node_values *values,
                  int64_t now_ns);
// Where the hands are: that node and its two neighbours on either side are asked more often.
// SIZE_MAX: nowhere.
void lw_live_hands(struct lw_live *live, size_t index);
size_t lw_live_hands_at(const struct lw_live *live);

// From which node on the chain is silent to its end (at least two nodes); SIZE_MAX: no break.
// Only for a tester at the head.
size_t lw_live_break(const struct lw_live *live);

void lw_live_lost(struct lw_live *live, int64_t now_ns);  // the line is gone; again is allowed
void lw_live_found(struct lw_live *live, int64_t now_ns); // it is back
bool lw_live_is_lost(const struct lw_live *live);
// `index` SIZE_MAX: about no node. Cleaned, and cut to LW_LIVE_TEXT.
void lw_live_mark(struct lw_live *live, size_t index, const char *text, int64_t now_ns);

// What has happened, in the order of its beginning. At most LW_LIVE_EVENTS are kept, the first
// ones; all are counted.
size_t lw_live_events(const struct lw_live *live);
const struct lw_live_event *lw_live_event(const struct lw_live *live, size_t index);
double lw_live_events_in_all(const struct lw_live *live);
double lw_live_errors(const struct lw_live *live); // events but marks; grows by one with each
// "P07 silent for 0.42 s, 4 polls". Returns text.
const char *lw_live_says(const struct lw_live *live, const struct lw_live_event *event, char *text,
                         size_t size);

// Node indices (lw_live_count()) into `order`: as on the chain, or the worst state first, then the
// most that has happened, then as on the chain.
void lw_live_order(const struct lw_live *live, bool by_trouble, int64_t now_ns, size_t *order);

double lw_live_seconds(const struct lw_live *live, int64_t now_ns); // since it began
double lw_live_polls(const struct lw_live *live);

// Asks one node and takes the answer; hands the reading to the run's sink. The client's time
// allowed and attempts are set at the first call. Status for the line alone, as
// lw_client_exchange().
enum lw_status lw_live_step(struct lw_live *live, const struct lw_run *run,
                            struct lw_client *client, struct lw_error *error);

// The record's result.
struct lw_live_result_node {
    char *node, *place, *unit, *state;
    int tap, address;
    double polls, answers, silences, damaged, refusals, drop_outs, longest_out_s;
    double longest_unasked_s, jumps, restarts, flags, low_polls, outside_polls;
    double smallest, largest, lowest_v, needs_v;
    double error_rate_low95; // lower bound of the share of silences and damage, one-sided
    double error_limit;
};
struct lw_live_result_event {
    char *what, *node, *says;
    double from_s, to_s, count, value;
};
struct lw_live_result {
    char *made_sure_by; // that drives are locked out; NULL: not asked
    double seconds, polls, polls_per_s;
    double unplugged, unplugged_s; // how often and how long the line was gone
    double marks, events_in_all;
    struct lw_list nodes;  // of struct lw_live_result_node, in tap order
    struct lw_list events; // of struct lw_live_result_event
};
extern const struct lw_shape lw_live_shape;

// LW_MEMORY; the result is to be freed with lw_json_free() then, too.
enum lw_status lw_live_result(const struct lw_live *live, int64_t now_ns,
                              struct lw_live_result *result, struct lw_error *error);
void lw_live_findings(const struct lw_live_result *result, struct lw_rule *rule,
                      struct lw_findings *findings);

#endif
