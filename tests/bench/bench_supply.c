// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a solution of the supply costs.
//
// Usage: bench_supply one        one solution of the 200-tap chain (count it with callgrind)
//        bench_supply growth     seconds for 10^5 and 10^6 taps and the exponent between them
#include "power/ladder.h"

#include <time.h>

static const double per_ns = 1e-9;

static double now_s(void)
{
    struct timespec now;
    timespec_get(&now, TIME_UTC);
    return (double)now.tv_sec + per_ns * (double)now.tv_nsec;
}

// The far end at about 19 V whatever the length: resistance and watts shrink with it.
static void fill(struct lw_ladder *ladder, struct lw_source *source)
{
    double count = (double)ladder->tap_count;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        ladder->taps[i].span_plus_ohm = 0.5 / count;
        ladder->taps[i].span_zero_ohm = 0.5 / count;
        ladder->taps[i].load = (struct lw_load){LW_LOAD_POWER, 160.0 / count, 16.0, 19.0, 0.09};
    }
    *source = (struct lw_source){.volts = 24.0, .plus_ohm = 0.05, .limit_a = 20.0};
    ladder->sources = source;
    ladder->source_count = 1;
}

static bool solve(size_t tap_count, double *seconds, struct lw_point *point)
{
    struct lw_source source;
    struct lw_ladder ladder = {.tap_count = tap_count,
                               .taps = calloc(tap_count, sizeof(struct lw_tap))};
    struct lw_error error = {0};
    if (!ladder.taps) {
        return false;
    }
    fill(&ladder, &source);
    bool fine = lw_point_init(&ladder, point, &error) == LW_OK;
    if (fine) {
        for (size_t i = 0; i < tap_count; i++) {
            point->load_state[i] = LW_LOAD_RUNNING;
        }
        double start_s = now_s();
        fine = lw_ladder_solve(&ladder, point, &error) == LW_OK && point->exists;
        *seconds = now_s() - start_s;
    }
    free(ladder.taps);
    return fine;
}

static bool one(void)
{
    struct lw_point point;
    double seconds = 0.0;
    bool fine = solve(200, &seconds, &point);
    printf("200 taps: far end %.6f V, %u steps, %.1f us\n", point.plus_v[199] - point.zero_v[199],
           point.iterations, 1e6 * seconds);
    lw_point_finish(&point);
    return fine;
}

static double best_of(size_t tap_count, int tries)
{
    double best = INFINITY;
    for (int i = 0; i < tries; i++) {
        struct lw_point point;
        double seconds = INFINITY;
        solve(tap_count, &seconds, &point);
        lw_point_finish(&point);
        best = fmin(best, seconds);
    }
    return best;
}

static bool growth(void)
{
    double small = best_of(100000, 7);
    double large = best_of(1000000, 5);
    printf("10^5 taps %.4f s, 10^6 taps %.4f s, exponent %.3f\n", small, large,
           log10(large / small));
    return isfinite(small) && isfinite(large);
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "one") == 0) {
        return one() ? 0 : 1;
    }
    if (count == 2 && strcmp(arguments[1], "growth") == 0) {
        return growth() ? 0 : 1;
    }
    fprintf(stderr, "usage: bench_supply one|growth\n");
    return 2;
}
