// SPDX-License-Identifier: GPL-3.0-or-later
//
// The three-way decision. A limit is kept or broken when a one-sided 95 % bound says so, corrected
// for the number of nodes that are judged together (Bonferroni: 5 % shared among them); between
// lies undecided, with the number of readings or polls that would decide.
#ifndef LW_STATS_DECIDE_H
#define LW_STATS_DECIDE_H

#include "base/error.h"
#include "stats/interval.h"

#include <stdint.h>

enum lw_decision { LW_LIMIT_OPEN, LW_LIMIT_KEPT, LW_LIMIT_BROKEN };

// `bounds` are the one-sided ones that were compared with the limit, each at `confidence`
// (0.95 for one node, 1 - 0.05/together for more). `n_to_decide`: the whole sample size at which
// the estimate as it stands would decide; n itself when decided; INFINITY when more than 1e9. It
// counts what was given as n: effective readings, or polls.
struct lw_decided {
    enum lw_decision decision;
    struct lw_interval bounds;
    double confidence;
    double n_to_decide;
};

// The confidence of each one-sided statement when `together` (>= 1) nodes are judged at once.
double lw_decide_confidence(unsigned together);

// For deciding while readings still come in: what to give as `together` at the look-th look (from
// 1) at data of `together` nodes. The 5 % are shared among all looks that may follow, look k
// getting 1/(k (k + 1)) of them, so the first decision that is reached may be kept, however often
// one looks. Look when the data have doubled, from some hundred readings on: then
// a look costs little, and slow noise has had time to show. At most UINT_MAX.
unsigned lw_decide_at_look(unsigned together, unsigned look);

// Standard deviation against `limit` (above 0, same unit). effective_n as lw_interval_stdev. An
// effective_n of 1 or less is undecided with bounds 0..INFINITY. Kept: the upper bound is at most
// the limit. Broken: the lower bound is above it.
enum lw_status lw_decide_stdev(double stdev, double effective_n, double limit, unsigned together,
                               struct lw_decided *decided, struct lw_error *error);

// Error rate of `errors` in `n` polls (n may be 0: undecided) against `limit` (above 0, below 1),
// by Clopper and Pearson. Zero errors in 2995 polls prove 1e-3.
enum lw_status lw_decide_rate(uint64_t errors, uint64_t n, double limit, unsigned together,
                              struct lw_decided *decided, struct lw_error *error);

// Any value with a standard uncertainty and its degrees of freedom (INFINITY: normal) against an
// upper limit: kept when value + t u is at most the limit. n_to_decide is NAN (the caller knows
// what the uncertainty comes from).
enum lw_status lw_decide_value(double value, double uncertainty, double dof, double limit,
                               unsigned together, struct lw_decided *decided,
                               struct lw_error *error);

#endif
