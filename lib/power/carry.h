// SPDX-License-Identifier: GPL-3.0-or-later
//
// How much a supply carries, and what gives first. "No operating point" is no answer for somebody
// who has to decide about one more node; this is: so many nodes in chain order, and the next one
// fails by that.
#ifndef LW_POWER_CARRY_H
#define LW_POWER_CARRY_H

#include "power/ladder.h"

enum lw_gives_first {
    LW_GIVES_NOTHING,      // all nodes are carried
    LW_GIVES_VOLTAGE,      // a node would see less than it needs
    LW_GIVES_SUPPLY_LIMIT, // a supply would pass its current limit
    LW_GIVES_RATING,       // a span would carry more than it is rated for
    LW_GIVES_COLLAPSE,     // no operating point though no supply is at its limit
};

// What must hold. Arrays have tap_count entries; NULL: not asked.
struct lw_carry_limits {
    const double *minimum_v; // between the rails of a node that runs; NULL: its drop-out voltage
    const double *rated_a;   // of the span that ends at the tap, either rail; INFINITY: none
};

struct lw_carry {
    size_t nodes;             // this many loads, counted from the head, run together
    enum lw_gives_first give; // what one more would bring down
    size_t tap; // where: the tap (voltage, rating: the span's), the source's index, or
                // for a collapse the tap of the load added
};

// Counts loads from the head (tap 0) on: the first `nodes` running, the rest off. Common practice:
// a chain grows at its far end. LW_OK or LW_MEMORY.
enum lw_status lw_ladder_carry(const struct lw_ladder *ladder, const struct lw_carry_limits *limits,
                               struct lw_carry *carry, struct lw_error *error);

// The voltage between the rails of every tap when no load draws: the highest that a node can see
// with the ladder's sources (to be held against maximum_v near a supply that was trimmed up; give
// the sources' upper ends). `volts` has tap_count entries.
enum lw_status lw_ladder_highest(const struct lw_ladder *ladder, double *volts,
                                 struct lw_error *error);

// A supply's limit while nodes start: boost_a (0: no boost), for at most boost_s, if what has to be
// started takes starting_s or less; else limit_a. Both already derated.
double lw_boosted_limit_a(double limit_a, double boost_a, double boost_s, double starting_s);

// The longest time in which every node that starts together is through, in seconds, as a bound: the
// latest start delay plus the longest start-up.
double lw_starting_s(const double *start_up_s, size_t count, double latest_delay_s);

#endif
