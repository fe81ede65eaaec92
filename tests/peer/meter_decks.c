// SPDX-License-Identifier: GPL-3.0-or-later
//
// Data pairs as ngspice decks, each followed by what an ohm meter is to show by our bands, for
// test_meter.py. The pair of random decks has both wires; that of the plan has every receiver, the
// bias and the terminators as elements of their own.
//
// Usage: meter_decks COUNT PLAN. Output: the deck, one ampere into node "red" and out of "0"; "*
// ohm VALUE"; "* end".
#include "check/meter_bands.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { TAPS = 12 };

static unsigned long long seed = 88172645463325252ULL;

static double draw(void) // 0..1
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return (double)(seed >> 11) / 9007199254740992.0;
}

// The meter's black tip is the deck's ground.
static const char *wire(char letter, size_t tap, size_t at, char name[16])
{
    if (tap == at) {
        return letter == 'a' ? "red" : "0";
    }
    snprintf(name, 16, "%c%zu", letter, tap);
    return name;
}

static void print_random(int number)
{
    double ohm[TAPS], loop[TAPS];
    size_t taps = 2 + (size_t)(draw() * (TAPS - 2)), at = (size_t)(draw() * (double)taps);
    char from[16], to[16];
    printf("* pair %d\n", number);
    for (size_t i = 0; i < taps; i++) {
        ohm[i] = draw() < 0.4 || i + 1 == taps ? 60 + 140 * draw() : INFINITY;
        loop[i] = 0.01 + 20 * draw();
        if (isfinite(ohm[i])) {
            printf("rt%zu %s %s %.17g\n", i, wire('a', i, at, from), wire('b', i, at, to), ohm[i]);
        }
        if (i > 0) {
            printf("ra%zu %s %s %.17g\n", i, wire('a', i - 1, at, from), wire('a', i, at, to),
                   loop[i] / 2);
            printf("rb%zu %s %s %.17g\n", i, wire('b', i - 1, at, from), wire('b', i, at, to),
                   loop[i] / 2);
        }
    }
    printf("i1 0 red dc 1\n* ohm %.17g\n* end\n", lw_meter_pair_ohm(ohm, loop, taps, at));
}

// D1 or D0 to 0 V of a plan of one stretch, at the band's low end: full receivers, resistors low.
static void print_zero(const struct lw_plan *plan, bool d1)
{
    const double low = 1 - LW_METER_RESISTOR_SHARE, unit_ohm = 12000;
    const char *d1_node = d1 ? "red" : "other", *d0_node = d1 ? "other" : "red";
    const struct lw_termination *ends = plan->line.terminations.items;
    printf("* to 0 V, %s\n", d1 ? "D1" : "D0");
    for (size_t i = 0; i < plan->line.terminations.count; i++) {
        printf("rt%zu %s %s %.17g\n", i, d1_node, d0_node, ends[i].ohm * low);
    }
    for (size_t tap = 1; tap <= lw_plan_taps(plan) + 2; tap++) { // two masters behind the nodes
        bool node = tap <= lw_plan_taps(plan);
        double loads = node ? lw_plan_tap(plan, tap)->is->electrical.unit_loads : 1;
        printf("ra%zu %s 0 %.17g\nrb%zu %s 0 %.17g\n", tap, d1_node, unit_ohm / loads, tap, d0_node,
               unit_ohm / loads);
    }
    printf("rup %s rail %.17g\nrrail rail 0 1e-9\nrdown %s 0 %.17g\n", d1_node,
           plan->line.bias->pull_up_ohm * low, d0_node, plan->line.bias->pull_down_ohm * low);
    printf("i1 0 red dc 1\n* ohm %.17g\n* end\n", lw_meter_pair_zero_band(plan, 1, d1).low);
}

int main(int argc, char **argv)
{
    struct lw_plan plan;
    struct lw_error error = {0};
    if (argc != 3 || lw_plan_load(argv[2], NULL, NULL, &plan, NULL, &error) != LW_OK) {
        fprintf(stderr, "meter_decks: %s\n", error.says);
        return 2;
    }
    for (int i = 0; i < (int)strtol(argv[1], NULL, 10); i++) {
        print_random(i);
    }
    print_zero(&plan, true);
    print_zero(&plan, false);
    lw_plan_free(&plan);
    return 0;
}
