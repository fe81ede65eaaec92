// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the touch walk share.
#ifndef LW_CHECK_TOUCH_INSIDE_H
#define LW_CHECK_TOUCH_INSIDE_H

#include "check/touch.h"

enum { LW_SIGN_UNKNOWN, LW_SIGN_RIGHT, LW_SIGN_REVERSED, LW_SIGN_NOT_PLANNED };

enum lw_touch_phase {
    LW_TOUCH_REST, // is everything at rest?
    LW_TOUCH_LISTENING,
    LW_TOUCH_MATTER, // what is the matter?
    LW_TOUCH_REASON, // why is it left out?
    LW_TOUCH_PLACE,  // which place is it?
    LW_TOUCH_DONE,
};
enum lw_touch_cause { LW_CAUSE_TYPED, LW_CAUSE_OTHER, LW_CAUSE_UNCLEAR, LW_CAUSE_NOTHING };

// What of a place does not go into the record.
struct own {
    bool stays_put;         // no spring brings it back
    bool asked;             // it is to be touched; all others are listened to as well
    int touches;            // deflections that have ended
    bool answers_elsewhere; // its node has answered at another place
    double off, off_u;      // of its rest from that before the first deflection
    double volts_sum;
    int volts_count;
    size_t seen, stride; // of its trace
};

struct lw_touch {
    struct lw_dialog dialog; // first
    const struct lw_plan *plan;
    struct lw_touch_options options;
    struct lw_touch_result result; // nodes in the order of the ears
    struct lw_hear *hear;
    struct own *own;
    size_t count;
    enum lw_touch_phase phase;
    enum lw_touch_cause cause;
    bool learnt, failed;    // memory ran out
    int expected, current;  // the place that is waited for; the one under way
    int last_other, others; // heard in place of the expected one, so often in a row
    int last_named, last_ticked, refusals, orders, asked_for, asked_place;
    double since_s, began_s;
};

struct lw_touch_node *lw_touch_place(const struct lw_touch *touch, int i);
const char *lw_touch_name(const struct lw_touch *touch, int i);
// "P07, station 2, top", or the name alone.
const char *lw_touch_full_name(const struct lw_touch *touch, int i, char text[160]);
int lw_touch_index(const struct lw_touch *touch, const char *name); // LW_NO_NODE: there is none
// The place that is to be touched now: the one under way until it is done, else the next open one.
int lw_touch_wanted(const struct lw_touch *touch);
// To the next place when the one under way is done, and to the end after the last.
void lw_touch_move_on(struct lw_touch *touch);

extern const struct lw_dialog_ops lw_touch_dialog_ops;
extern const struct lw_shape *const lw_touch_node_shape;

#endif
