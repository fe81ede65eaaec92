// SPDX-License-Identifier: GPL-3.0-or-later
//
// All combinations, the cheapest that suffices, and of equals the one with the largest margin.
#include "power/advise.h"

#include "power/solver.h"

struct trial {
    const struct lw_ladder *plan;
    const struct lw_wish *wish;
    struct lw_ladder ladder; // changed copy; room for all supplies that may be added
    struct lw_point point;
    struct lw_advice *advice;
};

static enum lw_status check_wish(const struct lw_wish *wish, struct lw_error *error)
{
    if (wish->wiring_count == 0 || wish->most_supplies > LW_ADVISE_SUPPLIES) {
        return lw_fail(error, LW_USAGE, "advice needs a wiring and at most %d more supplies",
                       LW_ADVISE_SUPPLIES);
    }
    bool fine = wish->supply_cost >= 0.0 && wish->supply_load > 0.0;
    for (size_t w = 0; w < wish->wiring_count; w++) {
        fine = fine && wish->wirings[w].cost >= 0.0;
    }
    return fine ? LW_OK
                : lw_fail(error, LW_USAGE, "costs must be 0 or more and supply load above 0");
}

static enum lw_status trial_init(struct trial *trial, const struct lw_ladder *plan,
                                 const struct lw_wish *wish, struct lw_error *error)
{
    *trial = (struct trial){.plan = plan, .wish = wish, .ladder = *plan};
    enum lw_status status = check_wish(wish, error);
    if (status != LW_OK) {
        return status;
    }
    trial->ladder.source_count = plan->source_count + LW_ADVISE_SUPPLIES;
    trial->ladder.taps = malloc(plan->tap_count * sizeof(struct lw_tap));
    trial->ladder.sources = malloc(trial->ladder.source_count * sizeof(struct lw_source));
    status = lw_point_init(&trial->ladder, &trial->point, error);
    if (!trial->ladder.taps || !trial->ladder.sources || status != LW_OK) {
        free(trial->ladder.taps);
        free(trial->ladder.sources);
        lw_point_finish(&trial->point);
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", plan->tap_count);
    }
    return LW_OK;
}

static void trial_finish(struct trial *trial)
{
    free(trial->ladder.taps);
    free(trial->ladder.sources);
    lw_point_finish(&trial->point);
}

static void wire(struct trial *trial, size_t wiring)
{
    const struct lw_wiring *from = &trial->wish->wirings[wiring];
    memcpy(trial->ladder.taps, trial->plan->taps, trial->plan->tap_count * sizeof(struct lw_tap));
    for (size_t i = 0; i < trial->plan->tap_count; i++) {
        trial->ladder.taps[i].span_plus_ohm = from->plus_ohm[i];
        trial->ladder.taps[i].span_zero_ohm = from->zero_ohm[i];
    }
}

static void feed(struct trial *trial, const size_t *taps, size_t count)
{
    size_t planned = trial->plan->source_count;
    memcpy(trial->ladder.sources, trial->plan->sources, planned * sizeof(struct lw_source));
    for (size_t k = 0; k < count; k++) {
        trial->ladder.sources[planned + k] = trial->wish->supply;
        trial->ladder.sources[planned + k].tap = taps[k];
        trial->ladder.taps[taps[k]].cut_plus = true;
    }
    trial->ladder.source_count = planned + count;
}

static bool supplies_hold(const struct trial *trial)
{
    for (size_t s = 0; s < trial->ladder.source_count; s++) {
        double most_a = trial->wish->supply_load * trial->ladder.sources[s].limit_a;
        if (trial->point.source_mode[s] == LW_SOURCE_OFF || trial->point.source_a[s] > most_a) {
            return false;
        }
    }
    return true;
}

static double least_margin_v(const struct trial *trial)
{
    double least_v = INFINITY;
    for (size_t i = 0; i < trial->ladder.tap_count; i++) {
        if (trial->ladder.taps[i].load.kind != LW_LOAD_NONE) {
            double margin_v = lw_point_volts(&trial->point, i) - trial->wish->minimum_v[i];
            least_v = margin_v < least_v ? margin_v : least_v;
        }
    }
    return least_v;
}

static enum lw_status measure(struct trial *trial, size_t wiring, const size_t *taps, size_t count,
                              double *margin_v, struct lw_error *error)
{
    wire(trial, wiring);
    feed(trial, taps, count);
    for (size_t i = 0; i < trial->ladder.tap_count; i++) {
        trial->point.load_state[i] = LW_LOAD_RUNNING;
    }
    for (size_t s = 0; s < trial->ladder.source_count; s++) {
        trial->point.source_mode[s] = LW_SOURCE_VOLTAGE;
    }
    enum lw_status status = lw_ladder_solve(&trial->ladder, &trial->point, error);
    bool stands = status == LW_OK && trial->point.exists && supplies_hold(trial);
    *margin_v = stands ? least_margin_v(trial) : -INFINITY;
    return status;
}

// Whether a supply that begins a section before `tap` would be the only one in it: no cut there
// yet, and no planned source between it and the next cut.
static bool can_feed(const struct lw_ladder *plan, size_t tap)
{
    if (plan->taps[tap].cut_plus || plan->taps[tap].cut_zero) {
        return false;
    }
    size_t end = tap + 1;
    while (end < plan->tap_count && !plan->taps[end].cut_plus && !plan->taps[end].cut_zero) {
        end++;
    }
    for (size_t s = 0; s < plan->source_count; s++) {
        if (plan->sources[s].tap >= tap && plan->sources[s].tap < end) {
            return false;
        }
    }
    return true;
}

static double cost_of(const struct trial *trial, size_t wiring, size_t count)
{
    return trial->wish->wirings[wiring].cost + (double)count * trial->wish->supply_cost;
}

// Found before not found; then the cheaper; then the larger margin. What does not suffice is
// ranked by its margin alone.
static bool is_better(const struct lw_advice *advice, double cost, double margin_v)
{
    bool suffices = margin_v >= 0.0;
    if (suffices != advice->found) {
        return suffices;
    }
    if (suffices && cost != advice->cost) {
        return cost < advice->cost;
    }
    return margin_v > advice->margin_v;
}

static enum lw_status try_choice(struct trial *trial, size_t wiring, const size_t *taps,
                                 size_t count, struct lw_error *error)
{
    struct lw_advice *advice = trial->advice;
    double cost = cost_of(trial, wiring, count);
    if (advice->found && cost > advice->cost) {
        return LW_OK;
    }
    double margin_v;
    enum lw_status status = measure(trial, wiring, taps, count, &margin_v, error);
    advice->tries++;
    if (status == LW_OK && is_better(advice, cost, margin_v)) {
        advice->found = margin_v >= 0.0;
        advice->cost = cost;
        advice->wiring = wiring;
        advice->supply_count = count;
        advice->margin_v = margin_v;
        memcpy(advice->supply_tap, taps, count * sizeof(*taps));
    }
    return status;
}

// Tries all rising choices of `count` taps of which the first `chosen` are fixed.
static enum lw_status try_taps(struct trial *trial, size_t wiring, size_t *taps, size_t chosen,
                               size_t count, struct lw_error *error)
{
    if (chosen == count) {
        return try_choice(trial, wiring, taps, count, error);
    }
    enum lw_status status = LW_OK;
    size_t first = chosen == 0 ? 1 : taps[chosen - 1] + 1;
    for (size_t tap = first; status == LW_OK && tap < trial->plan->tap_count; tap++) {
        if (can_feed(trial->plan, tap)) {
            taps[chosen] = tap;
            status = try_taps(trial, wiring, taps, chosen + 1, count, error);
        }
    }
    return status;
}

enum lw_status lw_ladder_advise(const struct lw_ladder *ladder, const struct lw_wish *wish,
                                struct lw_advice *advice, struct lw_error *error)
{
    struct trial trial;
    *advice = (struct lw_advice){.margin_v = -INFINITY};
    enum lw_status status = trial_init(&trial, ladder, wish, error);
    if (status != LW_OK) {
        return status;
    }
    trial.advice = advice;
    for (size_t count = 0; count <= wish->most_supplies; count++) {
        for (size_t w = 0; status == LW_OK && w < wish->wiring_count; w++) {
            size_t taps[LW_ADVISE_SUPPLIES];
            status = try_taps(&trial, w, taps, 0, count, error);
        }
    }
    trial_finish(&trial);
    return status;
}

enum lw_status lw_ladder_margin(const struct lw_ladder *ladder, const struct lw_wish *wish,
                                size_t wiring, const size_t *taps, size_t supply_count,
                                double *margin_v, struct lw_error *error)
{
    struct trial trial;
    enum lw_status status = trial_init(&trial, ladder, wish, error);
    if (status == LW_OK) {
        status = measure(&trial, wiring, taps, supply_count, margin_v, error);
        trial_finish(&trial);
    }
    return status;
}
