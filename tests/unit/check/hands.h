// SPDX-License-Identifier: GPL-3.0-or-later
//
// A person with hands on a virtual chain: goes where the walk asks, presses, holds until the tone,
// lets go, answers questions by what was really done, and makes the mistakes that people make. The
// walk's verdicts are held against what the hands know.
#ifndef TESTS_CHECK_HANDS_H
#define TESTS_CHECK_HANDS_H

#include "check/touch.h"
#include "walk.h"

struct hands_scene {
    struct cell cell;
    size_t places;   // so many are touched, then the walk is finished; 0: all
    int returns;     // 0: 1
    size_t swapped;  // this tap and the next have each other's addresses; 0: none
    size_t dead;     // this tap's reading is stuck; 0: none
    bool mute;       // and it does not answer at all
    size_t reversed; // the plan says the other sign of this tap; 0: none
    size_t sticking; // this tap comes to rest elsewhere; 0: none
    double stuck_by; // so far, in its unit
    double slips;    // share of touches at a wrong place
    double twice;    // share of touches with a second hand at another place
    double coupled;  // the neighbours go with it by up to this share
    bool pushes_slowly;
    bool any_order;
};

struct hands_outcome {
    size_t places, right, elsewhere, silent, skipped, untouched;
    size_t wrong;        // ticked off, or blamed, against what the hands know
    size_t wrong_signs;  // said reversed and is not, or the other way round
    size_t named_of_two; // named while a second one was down all the time of looking at all
    size_t sticks, wrong_sticks, open_sticks; // proved, of these wrongly; not decided
    size_t presses, again, questions;
    double answer_s[1024]; // from the beginning of a press to its tone
    size_t answers;
    double cycle_s, seconds;
};

// One walk from the first question to the last. `result` (may be NULL) is handed out, to be freed.
void hands_walk(const struct hands_scene *scene, uint64_t seed, struct hands_outcome *outcome,
                struct lw_touch_result *result);

#endif
