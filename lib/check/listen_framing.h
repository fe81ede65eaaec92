// SPDX-License-Identifier: GPL-3.0-or-later
//
// Finding the framing of a line by hearing it. Candidates in the order of likelihood, the plan's
// first; what a wrong framing shows says which one to try next, so that few are tried. Pure: it is
// told what was heard, and says what to set.
//
// A listener k times too fast takes each bit for k bits: every character that it hears is made of
// runs of k equal bits, the first of them, with its start bit, 0. A listener at the right rate or
// below it hears characters that are not. Whole frames with parity or stop-bit
// errors in them are heard at the right rate with another parity.
#ifndef LW_CHECK_LISTEN_FRAMING_H
#define LW_CHECK_LISTEN_FRAMING_H

#include "line/line.h"

enum { LW_HUNT_CANDIDATES = 32, LW_HUNT_BYTES = 512, LW_HUNT_RUNS = 9 };

struct lw_hunt_candidate {
    struct lw_framing framing;
    double likelihood; // relative
    int tries;
};

struct lw_hunt {
    struct lw_framing now; // to be set on the line
    bool found;
    int switches; // how often `now` has changed
    size_t count; // of candidates
    struct lw_hunt_candidate candidates[LW_HUNT_CANDIDATES];
    // heard at `now`
    size_t heard, clean_frames, damaged_frames, pieces;
    size_t in_runs[LW_HUNT_RUNS + 1]; // of these, made of runs of k equal bits
    size_t kept, framed;              // bytes in `bytes`; of these, up to the end of the last frame
    unsigned flags[LW_HUNT_BYTES];
    uint8_t bytes[LW_HUNT_BYTES];
};

// `first` is tried first: the plan's, or NULL. The line is to be set to hunt->now.
void lw_hunt_init(struct lw_hunt *hunt, const struct lw_framing *first);

enum lw_hunt_step {
    LW_HUNT_ON,     // not known yet: go on listening
    LW_HUNT_SWITCH, // hunt->now has changed: what was heard so far means nothing
    LW_HUNT_FOUND,  // hunt->now is the line's framing; told once
};
// Takes a piece heard at hunt->now. A framing is found when three whole frames came in it without
// an error. 8N2 cannot be told from 8N1 by hearing and is said as 8N1, unless it was `first`.
enum lw_hunt_step lw_hunt_take(struct lw_hunt *hunt, const uint8_t *bytes,
                               const struct lw_piece *piece);

#endif
