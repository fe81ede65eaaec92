// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply as the plan has it: what becomes of the chain when all run, when it is switched on
// cold, and with every tolerance at its bad end. The physics is lib/power's; here its taps and
// spans get the plan's names.
#include "check/supply.h"
#include "check/supply_line.h"

#include "power/ladder.h"

static const char *const mode_words[] = {"voltage", "limited", "blocking", "off"};

struct computed {
    struct lw_ladder ladder;
    struct lw_ladder_path running, cold;
};

static void computed_finish(struct computed *computed)
{
    lw_ladder_path_finish(&computed->running);
    lw_ladder_path_finish(&computed->cold);
    lw_ladder_free(&computed->ladder);
}

static enum lw_status compute(const struct lw_plan *plan, struct computed *computed,
                              struct lw_error *error)
{
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_VERDICT, &computed->ladder, error);
    if (status == LW_OK) {
        status = lw_ladder_check(&computed->ladder, error);
    }
    if (status == LW_OK) {
        status = lw_ladder_running(&computed->ladder, &computed->running, error);
    }
    return status == LW_OK ? lw_ladder_cold(&computed->ladder, &computed->cold, error) : status;
}

static double rail_volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

static bool add_taps(const struct lw_plan *plan, const struct computed *computed,
                     struct lw_supply_result *result)
{
    const struct lw_point *running = &computed->running.point, *cold = &computed->cold.point;
    for (size_t i = 0; i < computed->ladder.tap_count; i++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, i + 1);
        struct lw_supply_tap *tap = lw_list_add(&result->taps, sizeof *tap);
        if (tap == NULL) {
            return false;
        }
        lw_json_init(lw_supply_tap_shape, tap);
        tap->tap = (int)i + 1;
        tap->node = lw_duplicate(entry->node);
        tap->volts = rail_volts(running, i);
        tap->zero_rise_v = running->zero_v[i];
        tap->on = running->load_state[i] == LW_LOAD_RUNNING;
        tap->cold_volts = rail_volts(cold, i);
        tap->cold_on = cold->load_state[i] == LW_LOAD_RUNNING;
        if (entry->is != NULL) {
            tap->minimum_v = entry->is->electrical.minimum_v;
            tap->maximum_v = entry->is->electrical.maximum_v;
        }
    }
    return true;
}

static double span_rating(const struct lw_plan *plan, size_t tap)
{
    const struct lw_span_spec *own = lw_plan_tap(plan, tap)->span;
    return own != NULL && isfinite(own->rated_a) ? own->rated_a : plan->span_default.rated_a;
}

static bool add_spans(const struct lw_plan *plan, const struct computed *computed,
                      struct lw_supply_result *result)
{
    const struct lw_point *running = &computed->running.point;
    for (size_t i = 1; i < computed->ladder.tap_count; i++) {
        struct lw_supply_span *span = lw_list_add(&result->spans, sizeof *span);
        if (span == NULL) {
            return false;
        }
        lw_json_init(lw_supply_span_shape, span);
        const struct lw_tap *tap = &computed->ladder.taps[i];
        span->span = (int)i + 1;
        span->amps = fmax(fabs(running->span_plus_a[i]), fabs(running->span_zero_a[i]));
        span->rated_a = span_rating(plan, i + 1);
        span->ohm_plan = tap->span_plus_ohm + tap->span_zero_ohm;
    }
    return true;
}

static bool add_supplies(const struct lw_plan *plan, const struct computed *computed,
                         struct lw_supply_result *result)
{
    const struct lw_supply *planned = plan->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        struct lw_supply_supply *supply = lw_list_add(&result->supplies, sizeof *supply);
        if (supply == NULL) {
            return false;
        }
        lw_json_init(lw_supply_supply_shape, supply);
        supply->name = lw_duplicate(planned[i].name);
        supply->tap = planned[i].feeds_tap;
        supply->amps = computed->running.point.source_a[i];
        supply->limit_a = computed->ladder.sources[i].limit_a;
        supply->load_pct = 100 * supply->amps / supply->limit_a;
        supply->mode = lw_duplicate(mode_words[computed->running.point.source_mode[i]]);
    }
    return true;
}

static enum lw_status add_worst(const struct lw_plan *plan, struct lw_supply_result *result,
                                struct lw_error *error)
{
    struct lw_ladder ladder = {0};
    struct lw_ladder_path path = {0};
    enum lw_status status = lw_plan_ladder(plan, LW_LADDER_WORST, &ladder, error);
    if (status == LW_OK) {
        status = lw_ladder_running(&ladder, &path, error);
    }
    for (size_t i = 0; status == LW_OK && i < result->taps.count; i++) {
        struct lw_supply_tap *tap = (struct lw_supply_tap *)result->taps.items + i;
        tap->worst_volts = rail_volts(&path.point, i);
        tap->worst_on = path.point.load_state[i] == LW_LOAD_RUNNING;
    }
    lw_ladder_path_finish(&path);
    lw_ladder_free(&ladder);
    return status;
}

static void summarize(const struct computed *computed, struct lw_supply_result *result)
{
    const struct lw_supply_tap *taps = result->taps.items;
    result->operating_point = computed->running.all_on_exists;
    result->load_factor = computed->running.load_factor;
    result->carries_nodes = 0;
    for (size_t i = 0; i < result->taps.count; i++) {
        result->carries_nodes += taps[i].node != NULL && taps[i].on;
        result->resets_in_turn = result->resets_in_turn || computed->running.resets_in_turn[i];
        result->cold_start_trap = result->cold_start_trap || computed->cold.trapped[i];
    }
}

enum lw_status lw_supply_compute(const struct lw_plan *plan, struct lw_supply_result *result,
                                 struct lw_error *error)
{
    struct computed computed = {0};
    lw_json_init(&lw_supply_shape, result);
    result->measured_nodes = 0;
    enum lw_status status = compute(plan, &computed, error);
    if (status == LW_OK &&
        (!add_taps(plan, &computed, result) || !add_spans(plan, &computed, result) ||
         !add_supplies(plan, &computed, result))) {
        status = lw_fail(error, LW_MEMORY, "no memory for %zu taps", lw_plan_taps(plan));
    }
    if (status == LW_OK) {
        struct lw_supply_line line;
        lw_supply_line(plan, &line);
        result->unit_loads = line.unit_loads;
        result->idle_v = line.idle_v;
        summarize(&computed, result);
        status = add_worst(plan, result, error);
    }
    computed_finish(&computed);
    if (status != LW_OK) {
        lw_json_free(&lw_supply_shape, result);
    }
    return status;
}
