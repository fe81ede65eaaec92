// SPDX-License-Identifier: GPL-3.0-or-later
//
// How large a known load at the far end may be. Larger sees smaller faults, but the tail has to
// stay above its minimum, no supply may reach its limit and no span its rating.
#ifndef LW_POWER_LOAD_STEP_H
#define LW_POWER_LOAD_STEP_H

#include "power/carry.h"

// The largest load in amperes, at most `most_a` (above 0), to 1 mA, that can be added at the last
// tap in the given states; 0 when none can. `limits` as for lw_ladder_carry(). LW_OK or LW_MEMORY.
enum lw_status lw_load_step_size(const struct lw_ladder *ladder, const enum lw_load_state *states,
                                 const struct lw_carry_limits *limits, double most_a,
                                 double *amperes, struct lw_error *error);

#endif
