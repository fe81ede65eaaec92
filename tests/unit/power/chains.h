// SPDX-License-Identifier: GPL-3.0-or-later
//
// Chains for the tests of the supply: by hand with fixed room, and random ones from a small
// generator of our own, so that no test draws its cases with the code under test.
#ifndef LW_TESTS_POWER_CHAINS_H
#define LW_TESTS_POWER_CHAINS_H

#include "power/ladder.h"

#include <stdint.h>

enum { MOST_TAPS = 200, MOST_SOURCES = 3, MOST_BONDS = 4 };

struct chain {
    struct lw_tap taps[MOST_TAPS + 1]; // one more for a load plugged at the end
    struct lw_source sources[MOST_SOURCES];
    struct lw_bond bonds[MOST_BONDS];
    struct lw_ladder ladder;
};

static inline void chain_begin(struct chain *chain, size_t tap_count)
{
    *chain = (struct chain){0};
    chain->ladder = (struct lw_ladder){.tap_count = tap_count,
                                       .taps = chain->taps,
                                       .sources = chain->sources,
                                       .bonds = chain->bonds};
}

static inline struct lw_source *chain_feed(struct chain *chain, size_t tap, double volts,
                                           double plus_ohm, double zero_ohm, double limit_a)
{
    struct lw_source *source = &chain->sources[chain->ladder.source_count++];
    *source = (struct lw_source){
        .tap = tap, .volts = volts, .plus_ohm = plus_ohm, .zero_ohm = zero_ohm, .limit_a = limit_a};
    return source;
}

static inline void chain_bond(struct chain *chain, size_t tap, double ohm)
{
    chain->bonds[chain->ladder.bond_count++] = (struct lw_bond){tap, ohm};
}

// All taps alike: span resistances per rail and one load.
static inline void chain_fill(struct chain *chain, double plus_ohm, double zero_ohm,
                              struct lw_load load)
{
    for (size_t i = 0; i < chain->ladder.tap_count; i++) {
        chain->taps[i].span_plus_ohm = plus_ohm;
        chain->taps[i].span_zero_ohm = zero_ohm;
        chain->taps[i].load = load;
    }
}

static inline struct lw_load power_load(double watts)
{
    return (struct lw_load){LW_LOAD_POWER, watts, 16.0, 19.0, 0.09};
}

static inline void all_run(const struct lw_ladder *ladder, struct lw_point *point)
{
    for (size_t i = 0; i < ladder->tap_count; i++) {
        point->load_state[i] =
            ladder->taps[i].load.kind == LW_LOAD_NONE ? LW_LOAD_OFF : LW_LOAD_RUNNING;
    }
}

// xorshift64*, 0 inclusive to 1 exclusive. State must not be 0.
static inline double draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)((*state * 0x2545F4914F6CDD1DULL) >> 11) / 9007199254740992.0;
}

static inline double draw_in(uint64_t *state, double low, double high)
{
    return low + (high - low) * draw(state);
}

static inline size_t draw_below(uint64_t *state, size_t count)
{
    return (size_t)(draw(state) * (double)count);
}

static inline struct lw_load draw_load(uint64_t *state)
{
    double drop_out_v = draw_in(state, 12.0, 17.0);
    struct lw_load load = {.kind = LW_LOAD_POWER,
                           .value = draw_in(state, 0.1, 1.2),
                           .drop_out_v = drop_out_v,
                           .start_v = drop_out_v + draw_in(state, 0.5, 3.0),
                           .start_up_a = draw_in(state, 0.01, 0.09)};
    size_t kind = draw_below(state, 10);
    if (kind == 0) {
        load.kind = LW_LOAD_NONE;
    } else if (kind < 3) {
        load.kind = LW_LOAD_CURRENT;
        load.value = draw_in(state, 0.005, 0.05);
    } else if (kind < 5) {
        load.kind = LW_LOAD_RESISTOR;
        load.value = draw_in(state, 500.0, 5000.0);
    }
    return load;
}

// One to three supplies, spread over the chain; up to two cuts between fed stretches; bonds in a
// third of the chains. Span resistances shrink with the length, so that most chains carry.
static inline void chain_draw(struct chain *chain, size_t tap_count, uint64_t *state)
{
    chain_begin(chain, tap_count);
    double scale = fmin(1.0, 20.0 / (double)tap_count);
    for (size_t i = 0; i < tap_count; i++) {
        chain->taps[i] = (struct lw_tap){.span_plus_ohm = draw_in(state, 0.005, 0.08) * scale,
                                         .span_zero_ohm = draw_in(state, 0.005, 0.08) * scale,
                                         .load = draw_load(state)};
    }
    size_t sources = 1 + draw_below(state, MOST_SOURCES);
    for (size_t s = 0; s < sources; s++) {
        size_t first = s * tap_count / sources;
        size_t after = (s + 1) * tap_count / sources;
        size_t tap = first + draw_below(state, after > first ? after - first : 1);
        double limit_a = draw(state) < 0.5 ? draw_in(state, 0.2, 4.0) : INFINITY;
        chain_feed(chain, tap, draw_in(state, 23.5, 24.5), draw_in(state, 0.02, 0.2),
                   draw_in(state, 0.01, 0.1), limit_a);
        if (s > 0 && first > 0 && after > first && draw(state) < 0.5) {
            chain->taps[first].cut_plus = true;
            chain->taps[first].cut_zero = draw(state) < 0.5;
        }
    }
    if (draw(state) < 0.35) {
        size_t bonds = 1 + draw_below(state, MOST_BONDS);
        for (size_t b = 0; b < bonds; b++) {
            chain_bond(chain, draw_below(state, tap_count), draw_in(state, 0.01, 0.5));
        }
    }
}

#endif
