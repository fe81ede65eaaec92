// SPDX-License-Identifier: GPL-3.0-or-later
//
// Plain drawing. The random numbers are looked up by seed, tap and draw.
#include "power/lottery.h"

#include "stats/interval.h"
#include "stats/random.h"

// Taps count up from 0; these stand above any of them.
static const uint32_t source_number = 0x80000000U;
static const uint32_t common_number = 0xFFFFFFFFU;

static double share_of(uint32_t bits)
{
    return ((double)bits + 0.5) / 4294967296.0;
}

static void look_up(const struct lw_draw_options *options, uint64_t draw, uint32_t number,
                    uint32_t out[4])
{
    const uint32_t counter[4] = {(uint32_t)draw, (uint32_t)(draw >> 32), number, 0};
    const uint32_t key[2] = {(uint32_t)options->seed, (uint32_t)(options->seed >> 32)};
    lw_philox(counter, key, out);
}

static void draw_shares(struct lw_lottery *lottery, uint64_t draw)
{
    uint32_t bits[4];
    for (size_t i = 0; i < lottery->ladder.tap_count; i++) {
        look_up(lottery->options, draw, (uint32_t)i, bits);
        lottery->share[3 * i] = share_of(bits[0]);
        lottery->share[3 * i + 1] = share_of(bits[1]);
        lottery->share[3 * i + 2] = share_of(bits[2]);
    }
    for (size_t s = 0; s < lottery->ladder.source_count; s++) {
        look_up(lottery->options, draw, source_number + (uint32_t)s, bits);
        lottery->share[lw_lottery_source(lottery, s)] = share_of(bits[0]);
    }
    look_up(lottery->options, draw, common_number, bits);
    lottery->share[lw_lottery_common(lottery)] = share_of(bits[0]);
}

// A draw without an operating point counts against every load.
static void count(const struct lw_lottery *lottery, bool exists, struct lw_draws *result)
{
    bool any = !exists;
    for (size_t i = 0; i < lottery->ladder.tap_count; i++) {
        double volts = lottery->solver.volts[i];
        bool has_load = lottery->ladder.taps[i].load.kind != LW_LOAD_NONE;
        bool under = has_load && (!exists || lw_lottery_margin_v(lottery, i) < 0.0);
        result->under[i] += under;
        any = any || under;
        if (exists) {
            result->mean_v[i] += volts;
            result->lowest_v[i] = volts < result->lowest_v[i] ? volts : result->lowest_v[i];
        }
    }
    result->any_under += any;
    result->no_point += !exists;
}

static enum lw_status draws_init(struct lw_draws *result, size_t taps, struct lw_error *error)
{
    *result = (struct lw_draws){.under = calloc(taps, sizeof(uint64_t)),
                                .mean_v = calloc(taps, sizeof(double)),
                                .lowest_v = calloc(taps, sizeof(double))};
    if (!result->under || !result->mean_v || !result->lowest_v) {
        lw_draws_finish(result);
        return lw_fail(error, LW_MEMORY, "no memory for drawing a chain of %zu taps", taps);
    }
    for (size_t i = 0; i < taps; i++) {
        result->lowest_v[i] = INFINITY;
    }
    return LW_OK;
}

void lw_draws_finish(struct lw_draws *result)
{
    if (!result) {
        return;
    }
    free(result->under);
    free(result->mean_v);
    free(result->lowest_v);
    *result = (struct lw_draws){0};
}

static enum lw_status probability_of(uint64_t hits, uint64_t draws, double confidence,
                                     struct lw_probability *probability, struct lw_error *error)
{
    struct lw_interval interval;
    enum lw_status status =
        lw_interval_clopper_pearson(LW_TWO_SIDED, confidence, hits, draws, &interval, error);
    *probability =
        (struct lw_probability){(double)hits / (double)draws, interval.low, interval.high};
    return status;
}

enum lw_status lw_draws_tap(const struct lw_draws *draws, size_t tap, double confidence,
                            struct lw_probability *probability, struct lw_error *error)
{
    return probability_of(draws->under[tap], draws->draws, confidence, probability, error);
}

static void draw_all(struct lw_lottery *lottery, struct lw_draws *result)
{
    result->draws = lottery->options->draws;
    for (uint64_t draw = 0; draw < result->draws; draw++) {
        draw_shares(lottery, draw);
        count(lottery, lw_lottery_solve(lottery), result);
    }
    for (size_t i = 0; i < lottery->ladder.tap_count; i++) {
        result->mean_v[i] /= (double)(result->draws - result->no_point);
    }
}

enum lw_status lw_tolerance_draw(const struct lw_ladder *best, const struct lw_ladder *worst,
                                 const struct lw_draw_options *options, struct lw_draws *result,
                                 struct lw_error *error)
{
    struct lw_lottery lottery;
    enum lw_status status = draws_init(result, best->tap_count, error);
    if (status != LW_OK) {
        return status;
    }
    status = lw_lottery_init(&lottery, best, worst, options, error);
    if (status == LW_OK) {
        draw_all(&lottery, result);
        status = probability_of(result->any_under, result->draws, options->confidence, &result->any,
                                error);
        lw_lottery_finish(&lottery);
    }
    if (status != LW_OK) {
        lw_draws_finish(result);
    }
    return status;
}
