// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a solution of the supply costs.
//
// Usage: bench_supply one        one solution of the 200-tap chain (count it with callgrind)
//        bench_supply growth     seconds for 10^5 and 10^6 taps and the exponent between them
#include "power/ladder.h"
#include "power/solver.h"

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

// One ladder, its point and the solver's memory.
struct bench {
    struct lw_ladder ladder;
    struct lw_source source;
    struct lw_point point;
    struct lw_solver solver;
};

static bool begin(struct bench *bench, size_t tap_count)
{
    struct lw_error error = {0};
    *bench = (struct bench){
        .ladder = {.tap_count = tap_count, .taps = calloc(tap_count, sizeof(struct lw_tap))}};
    if (!bench->ladder.taps) {
        return false;
    }
    fill(&bench->ladder, &bench->source);
    if (lw_point_init(&bench->ladder, &bench->point, &error) != LW_OK) {
        return false;
    }
    for (size_t i = 0; i < tap_count; i++) {
        bench->point.load_state[i] = LW_LOAD_RUNNING;
    }
    return lw_solver_init(&bench->solver, &bench->ladder, &error) == LW_OK;
}

static void end(struct bench *bench)
{
    lw_solver_finish(&bench->solver);
    lw_point_finish(&bench->point);
    free(bench->ladder.taps);
}

static bool one(void)
{
    struct bench bench;
    struct lw_error error = {0};
    bool fine = begin(&bench, 200) &&
                lw_ladder_solve(&bench.ladder, &bench.point, &error) == LW_OK && bench.point.exists;
    if (fine) {
        printf("200 taps: far end %.6f V, %u steps\n",
               bench.point.plus_v[199] - bench.point.zero_v[199], bench.point.iterations);
    }
    end(&bench);
    return fine;
}

// In memory that has been touched before: else the kernel's zeroing of fresh pages is measured too.
static double best_of(size_t tap_count, int tries)
{
    struct bench bench;
    double best = INFINITY;
    if (begin(&bench, tap_count)) {
        lw_solver_run(&bench.solver, &bench.point);
        for (int i = 0; i < tries && bench.point.exists; i++) {
            double start_s = now_s();
            lw_solver_run(&bench.solver, &bench.point);
            best = fmin(best, now_s() - start_s);
        }
    }
    end(&bench);
    return best;
}

static bool growth(void)
{
    double tiny = best_of(200, 200);
    double small = best_of(100000, 20);
    double large = best_of(1000000, 10);
    printf("200 taps %.1f us, 10^5 taps %.4f s, 10^6 taps %.4f s, exponent %.3f\n", 1e6 * tiny,
           small, large, log10(large / small));
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
