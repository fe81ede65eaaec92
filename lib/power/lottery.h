// SPDX-License-Identifier: GPL-3.0-or-later
//
// One ladder between two ends, its numbers set by one number in 0..1 each. Shared by plain drawing
// and by the search for rare failures. Private to this room.
#ifndef LW_POWER_LOTTERY_H
#define LW_POWER_LOTTERY_H

#include "power/solver.h"
#include "power/tolerance.h"

struct lw_lottery {
    const struct lw_ladder *best, *worst;
    const struct lw_draw_options *options;
    struct lw_ladder ladder; // the drawn one; its taps and sources are ours
    size_t count;            // of numbers
    double *share;           // count numbers, 0 best to 1 worst; set before lw_lottery_solve()
    struct lw_solver solver;
    struct lw_point point;
    double *middle_v; // solution of the ladder halfway, where every draw's solving begins
    enum lw_source_mode *middle_mode;
    bool *middle_blocked;
};

// Where a number stands in `share`: tap k has V+, 0 V and load at 3 k, then the sources, then the
// common one.
static inline size_t lw_lottery_source(const struct lw_lottery *lottery, size_t source)
{
    return 3 * lottery->ladder.tap_count + source;
}
static inline size_t lw_lottery_common(const struct lw_lottery *lottery)
{
    return lottery->count - 1;
}

enum lw_status lw_lottery_init(struct lw_lottery *lottery, const struct lw_ladder *best,
                               const struct lw_ladder *worst, const struct lw_draw_options *options,
                               struct lw_error *error);
void lw_lottery_finish(struct lw_lottery *lottery);

// Solves with all loads on; the voltages are then in solver.volts. False: no operating point.
bool lw_lottery_solve(struct lw_lottery *lottery);

// How far a tap is above its minimum; INFINITY where nothing has to run.
double lw_lottery_margin_v(const struct lw_lottery *lottery, size_t tap);

#endif
