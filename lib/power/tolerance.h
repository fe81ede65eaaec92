// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply with its tolerances: the worst case where one can be named, and how likely
// under-voltage is where every part has its own luck.
//
// Both start from two ladders of one shape (same taps, cuts, sources, bonds and kinds of load):
// `best` with every number at the end that gives the highest voltages, `worst` with every number at
// the other. Who builds them knows conductors, lengths, joints, loads and temperatures; here only
// their ends count.
#ifndef LW_POWER_TOLERANCE_H
#define LW_POWER_TOLERANCE_H

#include "power/ladder.h"

#include <stdint.h>

// What the voltages of a worst case are worth. Inside one on/off state, with one feeding source to
// a stretch and no frame beside 0 V, every voltage falls with every resistance and load and rises
// with the source, so the corner is the exact worst case. With several sources to a stretch it is
// not: more resistance towards a far load relieves a near one. Then each voltage is at least what a
// single source alone would give it at its worst, as blocking or voltage sources only add.
enum lw_worst_kind {
    LW_WORST_EXACT,    // no combination inside the tolerances gives less
    LW_WORST_BOUND,    // none gives less, but perhaps none comes as low either
    LW_WORST_ESTIMATE, // the corner where all is bad; another combination may give a little less
};

struct lw_worst_case {
    enum lw_worst_kind kind;
    bool all_on;   // at the corner; false proves that the tolerances can starve a node
    double *volts; // per tap, between the rails; owned
    bool *runs;    // per tap: its load runs at the corner; owned
};

enum lw_status lw_worst_case_find(const struct lw_ladder *worst, struct lw_worst_case *result,
                                  struct lw_error *error);
void lw_worst_case_finish(struct lw_worst_case *result);

struct lw_draw_options {
    uint64_t seed;
    uint64_t draws; // 1 or more
    // Part (0..1) of each span's range in which all spans move together: one drum of cable, one
    // temperature. The rest each span draws for itself, and so does each rail, load and source.
    double common_share;
    const double *minimum_v; // per tap; NULL: drop-out. Taps without a load do not count
    double confidence;       // of the intervals, two-sided: 0.95
};

struct lw_probability {
    double estimate, low, high;
};

struct lw_draws {
    uint64_t draws;
    uint64_t *under;    // per tap: draws in which it was under its minimum; owned
    double *mean_v;     // per tap, over the draws with an operating point; owned
    double *lowest_v;   // per tap; owned
    uint64_t any_under; // draws in which anybody was, or in which there was no operating point
    uint64_t no_point;  // of those: draws without an operating point with all on
    struct lw_probability any; // Clopper and Pearson on any_under
};

// Draws every number evenly between its two ends (GUM 4.3.7: where only the ends are known) and
// solves with all loads on. Same seed, same draws; tap k's numbers do not depend on how many taps
// follow. LW_USAGE for options or ladders that make no sense.
enum lw_status lw_tolerance_draw(const struct lw_ladder *best, const struct lw_ladder *worst,
                                 const struct lw_draw_options *options, struct lw_draws *result,
                                 struct lw_error *error);
void lw_draws_finish(struct lw_draws *result);

// Interval for one tap's probability: draws->under[tap] among draws->draws.
enum lw_status lw_draws_tap(const struct lw_draws *draws, size_t tap, double confidence,
                            struct lw_probability *probability, struct lw_error *error);

// Probability that anybody is under its minimum when that is too rare to be met by plain drawing.
// The numbers are drawn as normal scores shifted towards the likeliest failure (importance sampling
// at the design point of the first-order reliability method, Hasofer and Lind 1974) and weighted
// back. The interval is the normal one on the weights; `estimate` 0 means that no failure was met
// even so. draws: 1000 or more.
struct lw_rare {
    struct lw_probability probability;
    double distance;   // of the design point, in standard deviations
    size_t tap;        // whose failure it is
    uint64_t failures; // met among the shifted draws
};
enum lw_status lw_tolerance_rare(const struct lw_ladder *best, const struct lw_ladder *worst,
                                 const struct lw_draw_options *options, struct lw_rare *result,
                                 struct lw_error *error);

#endif
