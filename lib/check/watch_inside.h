// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the parts of the watch share. Inside lib/check only.
#ifndef LW_CHECK_WATCH_INSIDE_H
#define LW_CHECK_WATCH_INSIDE_H

#include "check/watch.h"

// An event under way: its index, none, or one for which there was no room.
enum { LIVE_RING = 128, LIVE_NONE = -1, LIVE_UNKEPT = -2 };

// The one that the node's next poll of that kind goes on with.
enum live_open {
    OPEN_SILENT,
    OPEN_DAMAGED,
    OPEN_REFUSAL,
    OPEN_FLAG,
    OPEN_VOLTS,
    OPEN_OUTSIDE,
    OPEN_KINDS
};

struct live_ring {
    size_t count, next;
    double time_s[LIVE_RING], value[LIVE_RING];
};

struct live_node {
    struct lw_live_node shown;
    struct live_ring ring;
    int64_t asked_ns, answered_ns, silent_ns; // last; first miss of a silence under way
    int64_t back_ns, jumped_ns;               // -1: never
    bool in_turn;                             // its last poll was answered, on this line
    unsigned misses;                          // in a row
    enum lw_outcome last;
    bool one_request;                // all roles come in one block
    double limit, learned, uptime_s; // limit: the profile's noise limit, as a standard deviation
    unsigned learned_from;
    long open[OPEN_KINDS];
};

struct lw_live {
    const struct lw_plan *plan;
    double window_s;
    int64_t start_ns;
    struct live_node *nodes;
    size_t count;
    double polls;
    struct lw_live_event *events;
    size_t event_count;
    double events_in_all, errors;
    long open_break, open_unplugged;
    size_t break_from;     // SIZE_MAX: none
    int64_t break_over_ns; // when the last one ended
    bool has_far_end;      // the tester sits at the head
    bool prepared;         // the client
    // Turns.
    unsigned turn;
    size_t round, stride, silent_turn, hands, hands_turn, again, sweep;
    bool far_turn, sweeping;
};

// Missed its last poll, or lies behind a break.
bool live_is_silent(const struct lw_live *live, size_t index);
void live_follow_silence(struct lw_live *live, size_t index); // after a miss
size_t live_find_break(const struct lw_live *live);           // as it looks now; SIZE_MAX: none
double live_seconds(const struct lw_live *live, int64_t at_ns);

#endif
