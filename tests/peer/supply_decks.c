// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writes random chains as ngspice decks, each followed by our own solution, for test_supply.py to
// compare. Node states and source modes are fixed in the deck as we found them (a supply with a
// kink makes ngspice lose its way from 0 V); that the modes fit is checked from ngspice's voltages.
//
// Usage: supply_decks COUNT SEED. Output per chain: the deck; "* modes" and per supply "tap mode
// volts ohm limit"; "* volts" and per tap "plus zero"; "* end".
#include "../unit/power/chains.h"

#include <inttypes.h>

static void print_taps(const struct lw_ladder *ladder, const struct lw_point *point)
{
    for (size_t i = 0; i < ladder->tap_count; i++) {
        const struct lw_tap *tap = &ladder->taps[i];
        if (i > 0 && !tap->cut_plus) {
            printf("rp%zu p%zu p%zu %.17g\n", i, i - 1, i, tap->span_plus_ohm);
        }
        if (i > 0 && !tap->cut_zero) {
            printf("rz%zu z%zu z%zu %.17g\n", i, i - 1, i, tap->span_zero_ohm);
        }
        if (point->load_state[i] == LW_LOAD_WAITING && tap->load.kind != LW_LOAD_NONE) {
            printf("iw%zu p%zu z%zu dc %.17g\n", i, i, i, tap->load.start_up_a);
        }
        if (point->load_state[i] != LW_LOAD_RUNNING) {
            continue;
        }
        switch (tap->load.kind) {
        case LW_LOAD_POWER:
            printf("bl%zu p%zu z%zu i=%.17g/max(v(p%zu,z%zu),5)\n", i, i, i, tap->load.value, i, i);
            break;
        case LW_LOAD_CURRENT:
            printf("il%zu p%zu z%zu dc %.17g\n", i, i, i, tap->load.value);
            break;
        case LW_LOAD_RESISTOR:
            printf("rl%zu p%zu z%zu %.17g\n", i, i, i, tap->load.value);
            break;
        case LW_LOAD_NONE:
            break;
        }
    }
}

// The section's first supply's 0 V terminal is the deck's ground. Sections are told apart by the
// cuts of 0 V; bonded ones are one section.
static bool is_reference(const struct chain *chain, size_t source)
{
    size_t section[MOST_TAPS] = {0};
    bool bonded[MOST_TAPS] = {false};
    for (size_t i = 1; i < chain->ladder.tap_count; i++) {
        section[i] = section[i - 1] + chain->taps[i].cut_zero;
    }
    for (size_t b = 0; b < chain->ladder.bond_count; b++) {
        bonded[section[chain->bonds[b].tap]] = true;
    }
    size_t own = section[chain->sources[source].tap];
    for (size_t s = 0; s < source; s++) {
        size_t other = section[chain->sources[s].tap];
        if (other == own || (bonded[other] && bonded[own])) {
            return false;
        }
    }
    return true;
}

static void print_source(const struct chain *chain, const struct lw_point *point, size_t s)
{
    const struct lw_source *source = &chain->sources[s];
    char zero[32] = "0";
    if (!is_reference(chain, s)) {
        snprintf(zero, sizeof(zero), "t%zu", s);
    }
    printf("rs%zu %s z%zu %.17g\n", s, zero, source->tap, source->zero_ohm);
    if (point->source_mode[s] == LW_SOURCE_VOLTAGE) {
        printf("vs%zu e%zu %s dc %.17g\n", s, s, zero, source->volts);
        printf("re%zu e%zu p%zu %.17g\n", s, s, source->tap, source->plus_ohm);
    } else if (point->source_mode[s] == LW_SOURCE_LIMITED && source->past_limit == LW_FOLD_BACK) {
        // The regulated voltage falls with the current in a straight line: a second, fictive source
        // of fold_back_a and the conductance that makes up the rest, before the same resistance.
        double per_volt = (source->limit_a - source->fold_back_a) / source->volts;
        printf("gs%zu %s e%zu e%zu %s %.17g\n", s, zero, s, s, zero, per_volt);
        printf("is%zu %s e%zu dc %.17g\n", s, zero, s, source->fold_back_a);
        printf("re%zu e%zu p%zu %.17g\n", s, s, source->tap, source->plus_ohm);
    } else if (point->source_mode[s] == LW_SOURCE_LIMITED) {
        printf("is%zu %s p%zu dc %.17g\n", s, zero, source->tap, source->limit_a);
    }
}

static void print_modes(const struct chain *chain, const struct lw_point *point)
{
    static const char *const words[] = {"voltage", "limited", "blocking", "off"};
    printf("* modes\n");
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        const struct lw_source *source = &chain->sources[s];
        bool sinks = source->reverse == LW_REVERSE_SINKS;
        printf("%zu %s %.17g %.17g %.17g\n", source->tap,
               sinks && point->source_a[s] < 0.0 ? "sinking" : words[point->source_mode[s]],
               source->volts, source->plus_ohm + source->zero_ohm, source->limit_a);
    }
}

static void print_chain(const struct chain *chain, const struct lw_point *point)
{
    printf("chain of %zu taps, %zu supplies, %zu bonds\n", chain->ladder.tap_count,
           chain->ladder.source_count, chain->ladder.bond_count);
    print_taps(&chain->ladder, point);
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        print_source(chain, point, s);
    }
    for (size_t b = 0; b < chain->ladder.bond_count; b++) {
        printf("rb%zu z%zu frame %.17g\n", b, chain->bonds[b].tap, chain->bonds[b].ohm);
    }
    printf(".options reltol=1e-9 vntol=1e-12 abstol=1e-15 gmin=1e-18 itl1=500\n");
    print_modes(chain, point);
    printf("* volts\n");
    for (size_t i = 0; i < chain->ladder.tap_count; i++) {
        printf("%.17g %.17g\n", point->plus_v[i], point->zero_v[i]);
    }
    printf("* end\n");
}

// Supplies of other kinds than the plain one that blocks.
static void vary_sources(struct chain *chain, uint64_t *state)
{
    for (size_t s = 0; s < chain->ladder.source_count; s++) {
        struct lw_source *source = &chain->sources[s];
        if (!isinf(source->limit_a) && draw(state) < 0.5) {
            source->past_limit = LW_FOLD_BACK;
            source->fold_back_a = draw_in(state, 0.2, 0.9) * source->limit_a;
        }
        if (draw(state) < 0.2) {
            source->reverse = LW_REVERSE_SINKS;
        }
    }
}

// Whether every waiting node draws its whole start-up current, which the deck takes for granted.
static bool all_waiting_draw(const struct lw_ladder *ladder, const struct lw_point *point)
{
    for (size_t i = 0; i < ladder->tap_count; i++) {
        const struct lw_load *load = &ladder->taps[i].load;
        if (point->load_state[i] == LW_LOAD_WAITING && load->kind != LW_LOAD_NONE &&
            point->load_a[i] != load->start_up_a) {
            return false;
        }
    }
    return true;
}

// A tenth of the nodes off and a tenth waiting.
static bool try_chain(struct chain *chain, uint64_t *state)
{
    struct lw_error error = {0};
    struct lw_point point;
    size_t taps = draw(state) < 0.3 ? 1 + draw_below(state, 12) : 1 + draw_below(state, MOST_TAPS);
    chain_draw(chain, taps, state);
    vary_sources(chain, state);
    if (lw_ladder_check(&chain->ladder, &error) != LW_OK ||
        lw_point_init(&chain->ladder, &point, &error) != LW_OK) {
        return false;
    }
    all_run(&chain->ladder, &point);
    for (size_t i = 0; i < taps; i++) {
        double lot = draw(state);
        if (lot < 0.2) {
            point.load_state[i] = lot < 0.1 ? LW_LOAD_OFF : LW_LOAD_WAITING;
        }
    }
    bool fine = lw_ladder_solve(&chain->ladder, &point, &error) == LW_OK && point.exists &&
                all_waiting_draw(&chain->ladder, &point);
    if (fine) {
        print_chain(chain, &point);
    }
    lw_point_finish(&point);
    return fine;
}

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "usage: supply_decks COUNT SEED\n");
        return 2;
    }
    uint64_t state = strtoull(arguments[2], NULL, 10);
    for (long left = strtol(arguments[1], NULL, 10); left > 0;) {
        struct chain chain;
        left -= try_chain(&chain, &state);
    }
    return 0;
}
