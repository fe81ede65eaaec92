// SPDX-License-Identifier: GPL-3.0-or-later
//
// The computed supply with its tolerances: the worst case and what it is worth, the highest voltage
// that a node can meet, and how likely each is under its minimum when every part has its own luck.
#include "check/supply_inside.h"

#include "power/carry.h"
#include "power/tolerance.h"

// Half of a span's range is common to all (one drum of cable, one temperature); our choice.
static const double common_share = 0.5;
static const double confidence = 0.95;
enum { RARE_DRAWS = 4000 };

struct ends {
    struct lw_ladder best, worst;
};

static void ends_finish(struct ends *ends)
{
    lw_ladder_free(&ends->best);
    lw_ladder_free(&ends->worst);
}

static enum lw_status ends_init(const struct lw_plan *plan, struct ends *ends,
                                struct lw_error *error)
{
    *ends = (struct ends){0};
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_BEST, &ends->best, error);
    return status == LW_OK ? lw_plan_ladder(plan, LW_LADDER_WORST, &ends->worst, error) : status;
}

static struct lw_supply_tap *tap_at(struct lw_supply_result *result, size_t index)
{
    return (struct lw_supply_tap *)result->taps.items + index;
}

static enum lw_status add_worst(const struct lw_ladder *worst, struct lw_supply_result *result,
                                struct lw_error *error)
{
    static const char *const kinds[] = {
        [LW_WORST_EXACT] = "exact", [LW_WORST_BOUND] = "bound", [LW_WORST_ESTIMATE] = "estimate"};
    struct lw_worst_case found;
    enum lw_status status = lw_worst_case_find(worst, &found, error);
    if (status != LW_OK) {
        return status;
    }
    result->worst_kind = lw_duplicate(kinds[found.kind]);
    for (size_t i = 0; i < result->taps.count; i++) {
        tap_at(result, i)->worst_volts = found.volts[i];
        tap_at(result, i)->worst_on = found.runs[i] || worst->taps[i].load.kind == LW_LOAD_NONE;
    }
    lw_worst_case_finish(&found);
    return LW_OK;
}

static enum lw_status add_highest(const struct lw_ladder *best, struct lw_supply_result *result,
                                  struct lw_error *error)
{
    double *volts = calloc(best->tap_count, sizeof *volts);
    if (volts == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", best->tap_count);
    }
    enum lw_status status = lw_ladder_highest(best, volts, error);
    for (size_t i = 0; status == LW_OK && i < result->taps.count; i++) {
        tap_at(result, i)->highest_v = volts[i];
    }
    free(volts);
    return status;
}

static enum lw_status add_rare(const struct ends *ends, struct lw_draw_options options,
                               struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_rare rare;
    options.draws = RARE_DRAWS;
    enum lw_status status = lw_tolerance_rare(&ends->best, &ends->worst, &options, &rare, error);
    if (status == LW_OK && rare.failures > 0) {
        result->rare_under = rare.probability.estimate;
        result->rare_under_low = fmax(rare.probability.low, 0);
        result->rare_under_high = rare.probability.high;
    }
    return status;
}

static enum lw_status keep_draws(const struct lw_ladder *ladder, const struct lw_draws *draws,
                                 struct lw_supply_result *result, struct lw_error *error)
{
    result->any_under = draws->any.estimate;
    result->any_under_low = draws->any.low;
    result->any_under_high = draws->any.high;
    for (size_t i = 0; i < result->taps.count; i++) {
        struct lw_probability under;
        if (ladder->taps[i].load.kind == LW_LOAD_NONE) {
            continue;
        }
        enum lw_status status = lw_draws_tap(draws, i, confidence, &under, error);
        if (status != LW_OK) {
            return status;
        }
        tap_at(result, i)->under_probability = under.estimate;
        tap_at(result, i)->under_low = under.low;
        tap_at(result, i)->under_high = under.high;
    }
    return LW_OK;
}

static enum lw_status add_draws(const struct ends *ends, const struct lw_draw_options *options,
                                struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_draws draws;
    enum lw_status status = lw_tolerance_draw(&ends->best, &ends->worst, options, &draws, error);
    if (status != LW_OK) {
        return status;
    }
    status = keep_draws(&ends->best, &draws, result, error);
    if (status == LW_OK && draws.any_under == 0) {
        status = add_rare(ends, *options, result, error);
    }
    lw_draws_finish(&draws);
    return status;
}

static enum lw_status draw(const struct lw_plan *plan, const struct ends *ends,
                           const struct lw_supply_options *options, struct lw_supply_result *result,
                           struct lw_error *error)
{
    struct lw_supply_needs needs;
    enum lw_status status = lw_supply_needs_init(plan, &needs, error);
    result->draws = (double)options->draws;
    result->seed = (double)options->seed;
    if (status == LW_OK) {
        const struct lw_draw_options own = {.seed = options->seed,
                                            .draws = options->draws,
                                            .common_share = common_share,
                                            .minimum_v = needs.minimum_v,
                                            .confidence = confidence};
        status = add_draws(ends, &own, result, error);
    }
    lw_supply_needs_finish(&needs);
    return status;
}

enum lw_status lw_supply_tolerances(const struct lw_plan *plan,
                                    const struct lw_supply_options *options,
                                    struct lw_supply_result *result, struct lw_error *error)
{
    struct ends ends;
    result->draws = 0;
    enum lw_status status = ends_init(plan, &ends, error);
    if (status == LW_OK) {
        status = add_worst(&ends.worst, result, error);
    }
    if (status == LW_OK) {
        status = add_highest(&ends.best, result, error);
    }
    if (status == LW_OK && options != NULL && options->draws > 0) {
        status = draw(plan, &ends, options, result, error);
    }
    ends_finish(&ends);
    return status;
}
