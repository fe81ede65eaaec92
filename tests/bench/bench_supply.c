// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a solution of the supply costs.
//
// Usage: bench_supply one [TAPS] one solution of the chain, 200 taps (count it with callgrind)
//        bench_supply deck       the same chain as an ngspice deck
//        bench_supply draws      seconds for 100 000 Monte Carlo draws of that chain
//        bench_supply growth     seconds for 10^5 and 10^6 taps and the exponent between them
#include "power/ladder.h"
#include "power/solver.h"
#include "power/tolerance.h"

// Of the processor, so that what else runs on the machine does not count.
static double now_s(void)
{
    return (double)clock() / CLOCKS_PER_SEC;
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

static bool one(size_t taps)
{
    struct bench bench;
    struct lw_error error = {0};
    bool fine = begin(&bench, taps) &&
                lw_ladder_solve(&bench.ladder, &bench.point, &error) == LW_OK && bench.point.exists;
    if (fine) {
        printf("%zu taps: far end %.6f V, %u steps\n", taps,
               bench.point.plus_v[taps - 1] - bench.point.zero_v[taps - 1], bench.point.iterations);
    }
    end(&bench);
    return fine;
}

static bool deck(void)
{
    struct bench bench;
    bool fine = begin(&bench, 200);
    if (fine) {
        printf("chain of 200 taps\nve e 0 dc %.17g\nre e p0 %.17g\nrz0 z0 0 1e-9\n",
               bench.source.volts, bench.source.plus_ohm);
        for (size_t i = 0; i < 200; i++) {
            const struct lw_tap *tap = &bench.ladder.taps[i];
            if (i > 0) {
                printf("rp%zu p%zu p%zu %.17g\nrz%zu z%zu z%zu %.17g\n", i, i - 1, i,
                       tap->span_plus_ohm, i, i - 1, i, tap->span_zero_ohm);
            }
            printf("bl%zu p%zu z%zu i=%.17g/max(v(p%zu,z%zu),5)\n", i, i, i, tap->load.value, i, i);
        }
        printf(".options reltol=1e-9 vntol=1e-12 abstol=1e-15 gmin=1e-18 itl1=500\n.op\n.end\n");
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

static bool draws(void)
{
    struct bench best;
    struct bench worst;
    struct lw_draws result;
    struct lw_error error = {0};
    struct lw_draw_options options = {
        .seed = 1, .draws = 100000, .common_share = 0.5, .confidence = 0.95};
    bool fine = begin(&best, 200) && begin(&worst, 200);
    if (!fine) {
        return false;
    }
    for (size_t i = 0; i < 200; i++) {
        worst.ladder.taps[i].span_plus_ohm *= 1.3;
        worst.ladder.taps[i].span_zero_ohm *= 1.3;
        worst.ladder.taps[i].load.value *= 1.2;
    }
    worst.source.volts = 23.5;
    double start_s = now_s();
    fine = lw_tolerance_draw(&best.ladder, &worst.ladder, &options, &result, &error) == LW_OK;
    if (fine) {
        printf(
            "100000 draws of 200 taps: %.2f s; far end %.3f V mean, %.3f V lowest, under in %.0f\n",
            now_s() - start_s, result.mean_v[199], result.lowest_v[199], (double)result.any_under);
        lw_draws_finish(&result);
    }
    end(&best);
    end(&worst);
    return fine;
}

int main(int count, char **arguments)
{
    if ((count == 2 || count == 3) && strcmp(arguments[1], "one") == 0) {
        return one(count == 3 ? strtoul(arguments[2], NULL, 10) : 200) ? 0 : 1;
    }
    if (count == 2 && strcmp(arguments[1], "deck") == 0) {
        return deck() ? 0 : 1;
    }
    if (count == 2 && strcmp(arguments[1], "draws") == 0) {
        return draws() ? 0 : 1;
    }
    if (count == 2 && strcmp(arguments[1], "growth") == 0) {
        return growth() ? 0 : 1;
    }
    fprintf(stderr, "usage: bench_supply one [TAPS]|deck|draws|growth\n");
    return 2;
}
