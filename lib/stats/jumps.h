// SPDX-License-Identifier: GPL-3.0-or-later
//
// Readings that jump between two levels and stay there for a while: a loose contact, a connector
// that moves. A spike comes back at once; a jump does not.
#ifndef LW_STATS_JUMPS_H
#define LW_STATS_JUMPS_H

#include "base/error.h"

#include <stddef.h>

enum lw_jump_kind {
    LW_JUMPS_NONE,
    LW_JUMP_ONCE,      // one change of level that stayed
    LW_JUMPS_TELEGRAPH // to and fro
};

struct lw_jumps {
    enum lw_jump_kind kind;
    double step;        // upper level minus lower level, in the reading's unit; NAN for none
    size_t switches;    // changes of level
    double share_rarer; // of the readings, at the level that is rarer
    double dwell_s;     // mean time at the rarer level
};

// Splits the readings into the two groups that differ most (least spread within, Otsu 1979), of the
// readings as they are and without a straight drift. Two levels it is when they are six times the
// spread within apart, and two and a half steps of the reading (`resolution`, NAN: the spread
// within has to be above 0), each holds at least 2 % and five of the readings, and readings stay:
// at least three in the mean at the rarer level.
// Then of their running medians over five and nine readings, where there are thirty times as many
// readings (in fewer, slow noise looks like levels). There five times the spread within does,
// provided that the readings themselves, told apart by their medians, lie 2.8 of theirs apart, and
// that the medians change abruptly: no more than 3 % of them, and two a change, lie in the middle
// third between the levels. Times ascending, n >= 20, else LW_USAGE. LW_MEMORY.
enum lw_status lw_jumps_find(const double *time_s, const double *value, size_t n, double resolution,
                             struct lw_jumps *jumps, struct lw_error *error);

#endif
