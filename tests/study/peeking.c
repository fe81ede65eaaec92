// SPDX-License-Identifier: GPL-3.0-or-later
//
// A run that ends at its first decision: how often that decision is wrong, and how many readings it
// takes, against one look at the end. Usage: peeking [RUNS], 5000 by default.
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spread.h"

enum { FIRST = 32, LOOKS = 8, MOST = FIRST << (LOOKS - 1) };

static double time_s[MOST], value[MOST];

static void make(uint32_t run, double rho)
{
    struct lw_random key = {1, run, 1};
    double level = lw_random_normal(key, MOST);
    for (size_t i = 0; i < MOST; i++) {
        time_s[i] = 0.1 * (double)i;
        level = rho * level + sqrt(1 - rho * rho) * lw_random_normal(key, i);
        value[i] = level;
    }
}

static enum lw_decision decide(size_t n, double limit, unsigned together)
{
    struct lw_spread spread;
    struct lw_spread_options options = lw_spread_options();
    struct lw_decided decided;
    if (lw_spread_of(time_s, value, n, &options, &spread, NULL) ||
        lw_spread_decide(&spread, limit, together, &decided, NULL)) {
        exit(1);
    }
    return decided.decision;
}

// Readings used until the first decision.
static size_t run_until_decided(double limit, enum lw_decision *decision)
{
    size_t n = FIRST;
    for (unsigned look = 1; look <= LOOKS; look++, n *= 2) {
        *decision = decide(n, limit, lw_decide_at_look(1, look));
        if (*decision != LW_LIMIT_OPEN || look == LOOKS) {
            break;
        }
    }
    return n;
}

static void row(double rho, double ratio, uint32_t runs)
{
    uint32_t kept = 0, broken = 0, once = 0;
    double readings = 0;
    for (uint32_t run = 0; run < runs; run++) {
        enum lw_decision decision = LW_LIMIT_OPEN;
        make(run, rho);
        readings += (double)run_until_decided(1 / ratio, &decision);
        kept += decision == LW_LIMIT_KEPT;
        broken += decision == LW_LIMIT_BROKEN;
        once += decide(MOST, 1 / ratio, 1) != LW_LIMIT_OPEN;
    }
    double share = 100.0 / runs;
    printf("| %3.1f | %5.2f | %6.2f | %6.2f | %8.0f | %8.1f |\n", rho, ratio, share * kept,
           share * broken, readings / runs, share * once);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    lw_stats_setup();
    uint32_t runs = argc > 1 ? (uint32_t)strtoul(argv[1], NULL, 10) : 5000;
    static const double ratios[] = {0.5, 0.8, 0.9, 1, 1.1, 1.25, 2};
    printf(
        "%u runs a row, looked at after %d readings and at each doubling up to %d. noise: over the "
        "limit. kept,\nbroken: decided so, in %%; readings: mean number used. at end: decided by "
        "one "
        "look at all, in %%.\n\n",
        runs, FIRST, MOST);
    printf("| rho | noise |   kept | broken | readings | at end   |\n"
           "| --- | ----- | ------ | ------ | -------- | -------- |\n");
    for (int alike = 0; alike < 2; alike++) {
        for (size_t i = 0; i < sizeof ratios / sizeof *ratios; i++) {
            row(0.6 * alike, ratios[i], runs);
        }
    }
    return 0;
}
