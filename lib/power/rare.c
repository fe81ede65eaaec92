// SPDX-License-Identifier: GPL-3.0-or-later
//
// Failures too rare for plain drawing. Every number is a normal score z, its share the normal
// distribution function of z. The design point is the failure nearest to the middle of that space,
// found by Rackwitz and Fiessler's iteration (1978) on one-sided difference quotients; draws around
// it fail about every second time, and their weights turn the share of failures into a probability.
#include "power/lottery.h"

#include "stats/quantile.h"
#include "stats/random.h"

enum { DESIGN_STEPS = 8 };

static const double difference_z = 0.05;
static const double settled_z = 1e-3;

struct rare {
    struct lw_lottery lottery;
    double *design_z; // count numbers
    double *slope;    // of the chosen tap's margin
    double *square;   // per tap: sum of its squared slopes
    double *base_v;   // per tap: margins where the slopes are taken
    size_t tap;
    uint32_t purpose;
};

static double share_of(double z)
{
    return 0.5 * erfc(-z / sqrt(2.0));
}

static bool solve_at(struct rare *rare, const double *z)
{
    for (size_t k = 0; k < rare->lottery.count; k++) {
        rare->lottery.share[k] = share_of(z[k]);
    }
    return lw_lottery_solve(&rare->lottery);
}

// One number moved; the others as the last solve_at() left them.
static bool solve_moved(struct rare *rare, size_t k, double z)
{
    double before = rare->lottery.share[k];
    rare->lottery.share[k] = share_of(z);
    bool exists = lw_lottery_solve(&rare->lottery);
    rare->lottery.share[k] = before;
    return exists;
}

static void keep_margins(struct rare *rare)
{
    for (size_t i = 0; i < rare->lottery.ladder.tap_count; i++) {
        rare->base_v[i] = lw_lottery_margin_v(&rare->lottery, i);
    }
}

// Slopes of all margins at the middle, to find the tap whose failure is nearest.
static bool choose_tap(struct rare *rare)
{
    size_t taps = rare->lottery.ladder.tap_count;
    if (!solve_at(rare, rare->design_z)) {
        return false;
    }
    keep_margins(rare);
    for (size_t k = 0; k < rare->lottery.count; k++) {
        if (!solve_moved(rare, k, difference_z)) {
            return false;
        }
        for (size_t i = 0; i < taps; i++) {
            double slope =
                (lw_lottery_margin_v(&rare->lottery, i) - rare->base_v[i]) / difference_z;
            rare->square[i] += isinf(rare->base_v[i]) ? 0.0 : slope * slope;
        }
    }
    double nearest = INFINITY;
    for (size_t i = 0; i < taps; i++) {
        double distance =
            rare->square[i] > 0.0 ? rare->base_v[i] / sqrt(rare->square[i]) : INFINITY;
        if (distance < nearest) {
            nearest = distance;
            rare->tap = i;
        }
    }
    return isfinite(nearest) && nearest > 0.0;
}

// One step towards the failure nearest to the middle. False: stay.
static bool step_design(struct rare *rare, double *moved)
{
    if (!solve_at(rare, rare->design_z)) {
        return false;
    }
    double margin_v = lw_lottery_margin_v(&rare->lottery, rare->tap);
    double square = 0.0;
    double along = 0.0;
    for (size_t k = 0; k < rare->lottery.count; k++) {
        if (!solve_moved(rare, k, rare->design_z[k] + difference_z)) {
            return false;
        }
        rare->slope[k] = (lw_lottery_margin_v(&rare->lottery, rare->tap) - margin_v) / difference_z;
        square += rare->slope[k] * rare->slope[k];
        along += rare->slope[k] * rare->design_z[k];
    }
    if (!(square > 0.0)) {
        return false;
    }
    *moved = 0.0;
    for (size_t k = 0; k < rare->lottery.count; k++) {
        double z = (along - margin_v) * rare->slope[k] / square;
        *moved = fmax(*moved, fabs(z - rare->design_z[k]));
        rare->design_z[k] = z;
    }
    return true;
}

static double length_of(const struct rare *rare)
{
    double square = 0.0;
    for (size_t k = 0; k < rare->lottery.count; k++) {
        square += rare->design_z[k] * rare->design_z[k];
    }
    return sqrt(square);
}

static void find_design(struct rare *rare)
{
    double moved = INFINITY;
    for (int step = 0; step < DESIGN_STEPS && moved > settled_z; step++) {
        if (!step_design(rare, &moved)) {
            return;
        }
    }
}

static bool fails(const struct rare *rare)
{
    for (size_t i = 0; i < rare->lottery.ladder.tap_count; i++) {
        if (lw_lottery_margin_v(&rare->lottery, i) < 0.0) {
            return true;
        }
    }
    return false;
}

// The weight of one shifted draw if it fails, else 0.
static double draw_weight(struct rare *rare, uint64_t draw, double distance)
{
    double along = 0.0;
    for (size_t k = 0; k < rare->lottery.count; k++) {
        struct lw_random key = {
            .seed = rare->lottery.options->seed, .node = (uint32_t)k, .purpose = rare->purpose};
        double own = lw_random_normal(key, draw);
        along += own * rare->design_z[k];
        rare->lottery.share[k] = share_of(rare->design_z[k] + own);
    }
    bool failed = !lw_lottery_solve(&rare->lottery) || fails(rare);
    return failed ? exp(-along - 0.5 * distance * distance) : 0.0;
}

static enum lw_status draw_around(struct rare *rare, struct lw_rare *result, struct lw_error *error)
{
    double draws = (double)rare->lottery.options->draws;
    double sum = 0.0;
    double square = 0.0;
    result->distance = length_of(rare);
    result->tap = rare->tap;
    for (uint64_t draw = 0; draw < rare->lottery.options->draws; draw++) {
        double weight = draw_weight(rare, draw, result->distance);
        result->failures += weight > 0.0;
        sum += weight;
        square += weight * weight;
    }
    double quantile;
    enum lw_status status = lw_quantile_normal(
        LW_TAIL_ABOVE, 0.5 * (1.0 - rare->lottery.options->confidence), &quantile, error);
    double mean = sum / draws;
    double half = quantile * sqrt(fmax(square / draws - mean * mean, 0.0) / draws);
    result->probability = (struct lw_probability){mean, fmax(mean - half, 0.0), mean + half};
    return status;
}

static void rare_finish(struct rare *rare)
{
    lw_lottery_finish(&rare->lottery);
    free(rare->design_z);
    free(rare->slope);
    free(rare->square);
    free(rare->base_v);
}

static enum lw_status rare_init(struct rare *rare, const struct lw_ladder *best,
                                const struct lw_ladder *worst,
                                const struct lw_draw_options *options, struct lw_error *error)
{
    *rare = (struct rare){.purpose = lw_random_word("rare under-voltage")};
    enum lw_status status = lw_lottery_init(&rare->lottery, best, worst, options, error);
    if (status != LW_OK) {
        return status;
    }
    rare->design_z = calloc(rare->lottery.count, sizeof(double));
    rare->slope = calloc(rare->lottery.count, sizeof(double));
    rare->square = calloc(best->tap_count, sizeof(double));
    rare->base_v = calloc(best->tap_count, sizeof(double));
    if (!rare->design_z || !rare->slope || !rare->square || !rare->base_v) {
        rare_finish(rare);
        return lw_fail(error, LW_MEMORY, "no memory for drawing a chain of %zu taps",
                       best->tap_count);
    }
    return LW_OK;
}

enum lw_status lw_tolerance_rare(const struct lw_ladder *best, const struct lw_ladder *worst,
                                 const struct lw_draw_options *options, struct lw_rare *result,
                                 struct lw_error *error)
{
    struct rare rare;
    *result = (struct lw_rare){0};
    if (options->draws < 1000) {
        return lw_fail(error, LW_USAGE, "draws: must be 1000 or more for a rare event");
    }
    enum lw_status status = rare_init(&rare, best, worst, options, error);
    if (status != LW_OK) {
        return status;
    }
    if (choose_tap(&rare)) {
        find_design(&rare);
    }
    status = draw_around(&rare, result, error);
    rare_finish(&rare);
    return status;
}
