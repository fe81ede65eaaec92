// SPDX-License-Identifier: GPL-3.0-or-later
//
// How often the stated bounds hold: simulated series of known spread, mean and drift, counted. One
// row a kind of noise and a length; a one-sided 95 % bound should hold in 95 % of the series.
// Usage: coverage [SERIES], 10000 by default.
#include "stats/interval.h"
#include "stats/quantile.h"
#include "stats/random.h"
#include "stats/setup.h"
#include "stats/spread.h"

enum { MOST = 3000, OCTAVES = 12 };

// What a series is made of; standard deviations are 1 but for pink noise. What a bound is
// held against is the spread over the length of the series, which is less for slow noise.
struct kind {
    const char *name;
    double rho;        // lag-1 correlation
    bool pink;         // sum of octaves instead
    double resolution; // 0: none
    double drift_per_s;
};

static const struct kind kinds[] = {
    {"white", 0, false, 0, 0},
    {"AR(1) 0.3", 0.3, false, 0, 0},
    {"AR(1) 0.6", 0.6, false, 0, 0},
    {"AR(1) 0.9", 0.9, false, 0, 0},
    {"AR(1) -0.5", -0.5, false, 0, 0},
    {"1/f", 0, true, 0, 0},
    {"white, steps of 0.5", 0, false, 0.5, 0},
    {"white, steps of 1", 0, false, 1, 0},
    {"white, steps of 3", 0, false, 3, 0},
    {"white, drift", 0, false, 0, 0.1},
    {"AR(1) 0.6, drift", 0.6, false, 0, 0.1},
};

static double time_s[MOST], value[MOST];

static double pink(uint32_t series, size_t i, double level[OCTAVES])
{
    double sum = 0;
    for (uint32_t octave = 0; octave < OCTAVES; octave++) {
        struct lw_random key = {1, series, 100 + octave};
        double rho = exp(-1.0 / (double)(1 << octave));
        double fresh = lw_random_normal(key, i);
        level[octave] = i == 0 ? fresh : rho * level[octave] + sqrt(1 - rho * rho) * fresh;
        sum += level[octave];
    }
    return sum;
}

static void make(const struct kind *kind, uint32_t series, size_t n)
{
    struct lw_random key = {1, series, 1};
    double offset = 3 * lw_random_uniform((struct lw_random){1, series, 2}, 0);
    double octaves[OCTAVES], level = lw_random_normal(key, n);
    for (size_t i = 0; i < n; i++) {
        time_s[i] = 0.1 * (double)i;
        level = kind->rho * level + sqrt(1 - kind->rho * kind->rho) * lw_random_normal(key, i);
        double now = kind->pink ? pink(series, i, octaves) : level;
        now += kind->drift_per_s * (time_s[i] - 0.05 * (double)(n - 1));
        if (kind->resolution > 0) {
            now = kind->resolution * round((now + offset) / kind->resolution) - offset;
        }
        value[i] = now;
    }
}

struct counts {
    uint32_t low, high, mean, drift, said_below;
};

static void count(const struct kind *kind, const struct lw_spread *spread, double truth,
                  struct counts *counts)
{
    double t = 0;
    lw_quantile_t(LW_TAIL_ABOVE, 0.025, fmax(spread->effective_n_mean - 2, 1), &t, NULL);
    counts->low += spread->stdev_low95 <= truth;
    counts->high += spread->stdev_high95 >= truth;
    counts->mean += fabs(spread->mean) <= t * spread->mean_u;
    counts->drift += fabs(spread->drift_per_s - kind->drift_per_s) <= t * spread->drift_u_per_s;
    counts->said_below += spread->below_resolution;
}

static void simulate(const struct kind *kind, size_t n, uint32_t series, struct lw_spread *spread)
{
    struct lw_spread_options options = lw_spread_options();
    if (kind->resolution > 0) {
        options.resolution = kind->resolution;
    }
    for (uint32_t i = 0; i < series; i++) {
        make(kind, i, n);
        if (lw_spread_of(time_s, value, n, &options, &spread[i], NULL)) {
            exit(1);
        }
    }
}

static void row(const struct kind *kind, size_t n, uint32_t series, struct lw_spread *spread)
{
    double square = 0, unrounded_square = 0;
    simulate(kind, n, series, spread);
    for (uint32_t i = 0; i < series; i++) {
        square += spread[i].noise * spread[i].noise;
        unrounded_square += spread[i].noise_unrounded * spread[i].noise_unrounded;
    }
    double truth = sqrt(square / series), share = 100.0 / series;
    struct counts counts = {0};
    for (uint32_t i = 0; i < series; i++) {
        count(kind, &spread[i], truth, &counts);
    }
    printf("| %-19s | %4zu | %6.3f | %6.3f | %6.2f | %6.2f | %6.2f | %6.2f | %6.1f |\n", kind->name,
           n, truth, sqrt(unrounded_square / series), share * counts.low, share * counts.high,
           share * counts.mean, share * counts.drift, share * counts.said_below);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    lw_stats_setup();
    uint32_t series = argc > 1 ? (uint32_t)strtoul(argv[1], NULL, 10) : 10000;
    struct lw_spread *spread = calloc(series, sizeof *spread);
    if (!spread) {
        return 1;
    }
    static const size_t lengths[] = {50, 200, 1000};
    printf("%u series a row. spread: r.m.s. over the series of the noise about a line, which the "
           "bounds are\n"
           "for; own: without rounding. Bounds that hold, in %%: low and high one-sided, mean and "
           "drift\n"
           "two-sided, each should be 95. below: said to be below the resolution, in %%.\n\n",
           series);
    printf("| noise               |    n | spread |    own |    low |   high |   mean |  drift | "
           "below  |\n");
    printf("| ------------------- | ---- | ------ | ------ | ------ | ------ | ------ | ------ | "
           "------ |\n");
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        for (size_t l = 0; l < sizeof lengths / sizeof *lengths; l++) {
            row(&kinds[k], lengths[l], series, spread);
        }
    }
    free(spread);
    return 0;
}
