// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the judge of the noise check says of healthy nodes: chains of eight probes whose readings
// are nothing but their own noise, half of the limit in the mean, sensors differing by 15 %, made
// directly and judged as a run of 10 s. Usage: disturbed [NODES], 10000 by default, a row.
// Fails where more than 5 % of the chains are wrongly said to have a disturbed node, or one over
// its limit.
#include "../unit/check/walk.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { PROBES = 8, READINGS = 250, OCTAVES = 12, CAUSES = 8 };

static const double interval_s = 0.04, step_mm = 0.0001, spread_mm = 0.00025, differ = 0.15;

struct kind {
    const char *name;
    double rho; // lag-1 correlation
    bool pink;  // a sum of octaves instead
    double rms; // of such a series about a line
};

static const struct kind kinds[] = {
    {"white", 0, false, 1},
    {"AR(1) 0.6", 0.6, false, 0.988},
    {"AR(1) 0.9", 0.9, false, 0.933},
    {"1/f", 0, true, 2.46},
};

static const char *const causes[CAUSES] = {"mains",  "tone",          "vibration", "drift",
                                           "spikes", "loose contact", "step",      "unexplained"};

struct counts {
    uint64_t chains, nodes, disturbed, chains_disturbed, broken, chains_broken, kept;
    uint64_t cause[CAUSES];
};

static void make(const struct kind *kind, uint32_t node, double *value)
{
    double level[OCTAVES] = {0};
    for (size_t i = 0; i < READINGS; i++) {
        value[i] = 0;
        for (uint32_t octave = 0; octave < (kind->pink ? OCTAVES : 1); octave++) {
            double rho = kind->pink ? exp(-1.0 / (double)(1 << octave)) : kind->rho;
            double fresh = lw_random_normal((struct lw_random){1, node, 100 + octave}, i);
            level[octave] = i == 0 ? fresh : rho * level[octave] + sqrt(1 - rho * rho) * fresh;
            value[i] += level[octave];
        }
    }
}

static void add_node(const struct kind *kind, uint32_t node, struct lw_series *series)
{
    double value[READINGS];
    char name[8];
    struct lw_random key = {1, node, 1};
    double size_mm = spread_mm / kind->rms * exp(differ * lw_random_normal(key, 0));
    lw_print(name, sizeof name, "P%02u", node % PROBES + 1);
    make(kind, node, value);
    for (size_t i = 0; i < READINGS; i++) {
        double reads = step_mm * nearbyint((5 + size_mm * value[i]) / step_mm);
        double at_s = interval_s * ((double)i + lw_random_uniform(key, i + 1));
        struct lw_reading reading = {.time_s = at_s, .value = reads, .node = name, .unit = "mm"};
        if (lw_series_add(series, &reading, NULL) != LW_OK) {
            exit(1);
        }
    }
}

static void count(const struct lw_noise_result *result, struct counts *counts)
{
    uint64_t disturbed = 0, broken = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_noise_node *node = (const struct lw_noise_node *)result->nodes.items + i;
        disturbed += node->disturbed;
        broken += node->verdict == LW_FAIL;
        counts->kept += node->verdict == LW_PASS;
        for (size_t k = 0; k < CAUSES; k++) {
            counts->cause[k] += strcmp(node->cause, causes[k]) == 0;
        }
    }
    counts->chains++;
    counts->nodes += result->nodes.count;
    counts->disturbed += disturbed;
    counts->chains_disturbed += disturbed > 0;
    counts->broken += broken;
    counts->chains_broken += broken > 0;
}

static void judge_chain(const struct lw_plan *plan, const struct kind *kind, uint32_t chain,
                        struct counts *counts)
{
    const struct lw_noise_options options = {.limit = NAN};
    struct lw_series series = {0};
    struct lw_noise_result result;
    struct lw_rule rule;
    for (uint32_t k = 0; k < PROBES; k++) {
        add_node(kind, PROBES * chain + k, &series);
    }
    if (lw_noise_judge(plan, &options, &series, NULL, &result, &rule, NULL) != LW_OK) {
        exit(1);
    }
    count(&result, counts);
    lw_json_free(&lw_noise_shape, &result);
    lw_series_finish(&series);
}

// At most 5 % of the chains may have a node that is wrongly called so: false when there are more
// than such a share gives once in a thousand (normal approximation, and one for few chains).
static bool few(uint64_t wrong, uint64_t chains)
{
    double mean = 0.05 * (double)chains;
    return (double)wrong <= mean + 3.1 * sqrt(0.95 * mean) + 1;
}

static bool row(const struct lw_plan *plan, const struct kind *kind, uint64_t nodes)
{
    struct counts counts = {0};
    for (uint32_t chain = 0; chain < nodes / PROBES; chain++) {
        judge_chain(plan, kind, chain, &counts);
    }
    double node = 100.0 / (double)counts.nodes, chain = 100.0 / (double)counts.chains;
    printf("| %-9s | %5.2f | %5.2f | %5.2f | %5.2f | %5.1f |", kind->name,
           node * (double)counts.disturbed, chain * (double)counts.chains_disturbed,
           node * (double)counts.broken, chain * (double)counts.chains_broken,
           node * (double)counts.kept);
    for (size_t k = 0; k < CAUSES; k++) {
        if (counts.cause[k] > 0) {
            printf(" %s %.2f", causes[k], node * (double)counts.cause[k]);
        }
    }
    printf(" |\n");
    fflush(stdout);
    return few(counts.chains_disturbed, counts.chains) && few(counts.chains_broken, counts.chains);
}

int main(int argc, char **argv)
{
    lw_stats_setup();
    uint64_t nodes = argc > 1 ? strtoull(argv[1], NULL, 10) : 10000;
    bool good = true;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = PROBES}, 1);
    printf("| noise | disturbed | of chains | over the limit | of chains | kept | named |\n"
           "| --- | --- | --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        good = row(&walk.plan, &kinds[i], nodes) && good;
    }
    walk_close(&walk);
    return good ? 0 : 1;
}
