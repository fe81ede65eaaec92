// SPDX-License-Identifier: GPL-3.0-or-later
//
// One node as the ears of the touch walk know it: where it rests and how noisily, how far its last
// reading is from there, and where it has come back to.
#ifndef LW_CHECK_TOUCH_REST_H
#define LW_CHECK_TOUCH_REST_H

#include "check/touch_hear.h"

enum {
    LW_EAR_RING = 16,   // readings that a rest is the median of
    LW_EAR_SETTLED = 6, // readings of a return
};

struct lw_ear {
    struct lw_hear_node is;
    double ring[LW_EAR_RING];
    size_t ringed;
    size_t unanswered; // in a row
    bool silent, swept;
    double rest, home, noise, need, learnt_rest, learnt_s;
    double value, at_s;
    double from_rest; // of the last reading
    double duel_sum, duel_low, duel_high;
    size_t duels, spikes;
    double with_sum; // while another is the winner
    size_t with_count;
    double settled[LW_EAR_SETTLED]; // where it comes to rest, from its rest
    size_t settled_count;
    double still_low, still_high, still_since_s; // for those that stay where they are
};

// How far a value is from the rest, by the shorter way round where the reading begins anew after a
// turn.
double lw_ear_away(const struct lw_ear *ear, double value);
// The last reading's distance from rest in units of the need; 0 where nothing is known.
double lw_ear_score(const struct lw_ear *ear);

void lw_ear_add(struct lw_ear *ear, double value);    // a reading at rest
double lw_ear_width(const struct lw_ear *ear);        // lowest to highest of those kept
void lw_ear_know_rest(struct lw_ear *ear);            // rest, noise and need from those kept
void lw_ear_follow(struct lw_ear *ear, double value); // one more, unless it is far from rest
void lw_ear_rest_here(struct lw_ear *ear);            // where it is counts as rest from now on

// How long it has been still since lw_ear_begin_still(), s.
void lw_ear_begin_still(struct lw_ear *ear, double time_s);
double lw_ear_still_s(struct lw_ear *ear, double time_s);

// One more reading of where it comes to rest; the oldest gives way.
void lw_ear_settle(struct lw_ear *ear);
bool lw_ear_has_settled(const struct lw_ear *ear);
// Fills off and off_u of a deflection from `onset_s` to now.
void lw_ear_judge_off(const struct lw_ear *ear, double onset_s, double time_s,
                      struct lw_heard_move *move);
// Where it has settled is its rest from now on.
void lw_ear_rest_settled(struct lw_ear *ear);

#endif
