// SPDX-License-Identifier: GPL-3.0-or-later
//
// The cheapest change after which a starved chain has its margin: another supply, and at which tap,
// a thicker conductor, or both. Every combination is tried; nothing is guessed.
#ifndef LW_POWER_ADVISE_H
#define LW_POWER_ADVISE_H

#include "power/ladder.h"

enum { LW_ADVISE_SUPPLIES = 2 };

// One way to wire the spans, per tap as in struct lw_tap (joints and through resistance included).
struct lw_wiring {
    const double *plus_ohm, *zero_ohm;
    double cost; // 0 or more; that of what is there is 0
};

struct lw_wish {
    const double *minimum_v;         // per tap: what a node needs, its margin included
    double supply_load;              // largest share of a supply's limit, above 0: 0.8
    const struct lw_wiring *wirings; // at least one: what is there
    size_t wiring_count;
    struct lw_source supply; // one that can be added; its tap does not matter
    double supply_cost;      // 0 or more
    size_t most_supplies;    // that may be added, 0..LW_ADVISE_SUPPLIES
};

// An added supply feeds its tap and what follows, up to the next cut or supply's section; V+ is cut
// before its tap, so that no two sources stand on one rail. 0 V goes through.
struct lw_advice {
    bool found; // false: nothing on offer suffices; the rest is then what comes nearest
    double cost;
    size_t wiring; // index
    size_t supply_count;
    size_t supply_tap[LW_ADVISE_SUPPLIES]; // rising
    double margin_v; // least voltage above minimum_v with it; of equal costs the largest.
                     // -INFINITY: no operating point, or a supply over its load
    size_t tries;
};

// Costs are compared as given, in whatever unit. Time grows with tap_count to the power of
// most_supplies + 1. LW_USAGE for a wish that makes no sense, LW_MEMORY.
enum lw_status lw_ladder_advise(const struct lw_ladder *ladder, const struct lw_wish *wish,
                                struct lw_advice *advice, struct lw_error *error);

// The margin of one choice, as lw_ladder_advise() counts it. `taps` are supply_count rising taps.
enum lw_status lw_ladder_margin(const struct lw_ladder *ladder, const struct lw_wish *wish,
                                size_t wiring, const size_t *taps, size_t supply_count,
                                double *margin_v, struct lw_error *error);

#endif
