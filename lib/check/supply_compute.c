// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply as the plan has it: what becomes of the chain when all run, when it is switched on
// cold, or comes back from a dip, and how many nodes the supply carries. The physics is
// lib/power's; here its taps and spans get the plan's names.
#include "check/supply.h"
#include "check/supply_inside.h"
#include "check/supply_line.h"

#include "power/carry.h"

static const char *const mode_words[] = {"voltage", "limited", "blocking", "off"};

struct computed {
    struct lw_ladder ladder;
    struct lw_ladder_path running, cold, dip;
};

static void computed_finish(struct computed *computed)
{
    lw_ladder_path_finish(&computed->running);
    lw_ladder_path_finish(&computed->cold);
    lw_ladder_path_finish(&computed->dip);
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
    if (status == LW_OK) {
        status = lw_ladder_cold(&computed->ladder, &computed->cold, error);
    }
    return status == LW_OK
               ? lw_ladder_after_dip(&computed->ladder, LW_SUPPLY_DIP_SHARE, &computed->dip, error)
               : status;
}

static double rail_volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

// A node whose profile names no load is neither on nor off here; it is taken to be on.
static bool is_on(const struct computed *computed, const struct lw_ladder_path *path, size_t tap)
{
    return path->point.load_state[tap] == LW_LOAD_RUNNING ||
           computed->ladder.taps[tap].load.kind == LW_LOAD_NONE;
}

static bool add_taps(const struct lw_plan *plan, const struct computed *computed,
                     struct lw_supply_result *result)
{
    const struct lw_point *running = &computed->running.point;
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
        tap->on = is_on(computed, &computed->running, i);
        tap->cold_volts = rail_volts(&computed->cold.point, i);
        tap->cold_on = is_on(computed, &computed->cold, i);
        tap->dip_volts = rail_volts(&computed->dip.point, i);
        tap->dip_on = is_on(computed, &computed->dip, i);
        if (entry->is != NULL) {
            tap->minimum_v = entry->is->electrical.minimum_v;
            tap->maximum_v = entry->is->electrical.maximum_v;
        }
    }
    return true;
}

double lw_supply_rated_a(const struct lw_plan *plan, size_t span)
{
    const struct lw_span_spec *own = lw_plan_tap(plan, span)->span;
    return own != NULL && isfinite(own->rated_a) ? own->rated_a : plan->span_default.rated_a;
}

enum lw_status lw_supply_needs_init(const struct lw_plan *plan, struct lw_supply_needs *needs,
                                    struct lw_error *error)
{
    size_t taps = lw_plan_taps(plan);
    *needs = (struct lw_supply_needs){.minimum_v = calloc(taps, sizeof *needs->minimum_v),
                                      .rated_a = calloc(taps, sizeof *needs->rated_a)};
    if (needs->minimum_v == NULL || needs->rated_a == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", taps);
    }
    for (size_t i = 0; i < taps; i++) {
        const struct lw_profile *profile = lw_plan_tap(plan, i + 1)->is;
        double drop_out_v = profile != NULL ? profile->electrical.drop_out_v : 0;
        double minimum_v = profile != NULL ? profile->electrical.minimum_v : 0;
        needs->minimum_v[i] = fmax(fmax(minimum_v, drop_out_v), 0);
        double rated_a = lw_supply_rated_a(plan, i + 1);
        needs->rated_a[i] = isfinite(rated_a) ? rated_a : INFINITY;
    }
    return LW_OK;
}

void lw_supply_needs_finish(struct lw_supply_needs *needs)
{
    free(needs->minimum_v);
    free(needs->rated_a);
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
        span->rated_a = lw_supply_rated_a(plan, i + 1);
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
        supply->cold_amps = computed->cold.point.source_a[i];
        supply->cold_mode = lw_duplicate(mode_words[computed->cold.point.source_mode[i]]);
    }
    return true;
}

static void name_what_gives(const struct lw_plan *plan, const struct lw_carry *carry,
                            struct lw_supply_result *result)
{
    static const char *const words[] = {
        [LW_GIVES_NOTHING] = "nothing",           [LW_GIVES_VOLTAGE] = "voltage",
        [LW_GIVES_SUPPLY_LIMIT] = "supply_limit", [LW_GIVES_RATING] = "rating",
        [LW_GIVES_COLLAPSE] = "collapse",
    };
    const struct lw_supply *supplies = plan->supplies.items;
    char span[32];
    lw_print(span, sizeof span, "span %zu", carry->tap + 1);
    result->carries_nodes = (double)carry->nodes;
    result->gives_first = lw_duplicate(words[carry->give]);
    if (carry->give == LW_GIVES_SUPPLY_LIMIT) {
        result->gives_at = lw_duplicate(supplies[carry->tap].name);
    } else if (carry->give != LW_GIVES_NOTHING) {
        const char *node = lw_plan_tap(plan, carry->tap + 1)->node;
        result->gives_at =
            lw_duplicate(carry->give == LW_GIVES_RATING || node == NULL ? span : node);
    }
}

// What it is that leaves no operating point with all on, a supply's limit or the way, is asked with
// nodes that stand any voltage. Spoils the needs.
static enum lw_status find_collapse(const struct computed *computed, struct lw_supply_needs *needs,
                                    struct lw_supply_result *result, struct lw_error *error)
{
    const struct lw_carry_limits any = {.minimum_v = needs->minimum_v};
    struct lw_carry carry = {0};
    enum lw_status status = LW_OK;
    memset(needs->minimum_v, 0, computed->ladder.tap_count * sizeof *needs->minimum_v);
    if (!computed->running.all_on_exists) {
        status = lw_ladder_carry(&computed->ladder, &any, &carry, error);
    }
    result->collapses = status == LW_OK && carry.give == LW_GIVES_COLLAPSE;
    return status;
}

static enum lw_status add_carry(const struct lw_plan *plan, const struct computed *computed,
                                struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_supply_needs needs;
    struct lw_carry carry;
    enum lw_status status = lw_supply_needs_init(plan, &needs, error);
    if (status == LW_OK) {
        const struct lw_carry_limits limits = {.minimum_v = needs.minimum_v,
                                               .rated_a = needs.rated_a};
        status = lw_ladder_carry(&computed->ladder, &limits, &carry, error);
    }
    if (status == LW_OK) {
        name_what_gives(plan, &carry, result);
        status = find_collapse(computed, &needs, result, error);
    }
    lw_supply_needs_finish(&needs);
    return status;
}

static void summarize(const struct computed *computed, struct lw_supply_result *result)
{
    const struct lw_supply_tap *taps = result->taps.items;
    result->operating_point = computed->running.all_on_exists;
    result->load_factor = computed->running.load_factor;
    result->start_unsettled = computed->cold.point.unsettled || computed->dip.point.unsettled;
    result->running_nodes = 0;
    for (size_t i = 0; i < result->taps.count; i++) {
        result->running_nodes += taps[i].node != NULL && taps[i].on;
        result->dip_trap = result->dip_trap || (taps[i].on && !taps[i].dip_on);
        result->resets_in_turn = result->resets_in_turn || computed->running.resets_in_turn[i];
        result->cold_start_trap = result->cold_start_trap || computed->cold.trapped[i];
    }
}

static void name_parallel(const struct lw_plan *plan, const struct computed *computed,
                          struct lw_supply_result *result)
{
    const struct lw_supply *supplies = plan->supplies.items;
    size_t one, other;
    if (lw_ladder_paralleled(&computed->ladder, &one, &other)) {
        result->parallel_one = lw_duplicate(supplies[one].name);
        result->parallel_other = lw_duplicate(supplies[other].name);
    }
}

static enum lw_status fill(const struct lw_plan *plan, const struct lw_supply_options *options,
                           const struct computed *computed, struct lw_supply_result *result,
                           struct lw_error *error)
{
    if (!add_taps(plan, computed, result) || !add_spans(plan, computed, result) ||
        !add_supplies(plan, computed, result)) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", lw_plan_taps(plan));
    }
    summarize(computed, result);
    name_parallel(plan, computed, result);
    lw_supply_line_result(plan, result);
    enum lw_status status = add_carry(plan, computed, result, error);
    return status == LW_OK ? lw_supply_tolerances(plan, options, result, error) : status;
}

enum lw_status lw_supply_compute(const struct lw_plan *plan,
                                 const struct lw_supply_options *options,
                                 struct lw_supply_result *result, struct lw_error *error)
{
    struct computed computed = {0};
    lw_json_init(&lw_supply_shape, result);
    result->measured_nodes = 0;
    enum lw_status status = compute(plan, &computed, error);
    if (status == LW_OK) {
        status = fill(plan, options, &computed, result, error);
    }
    computed_finish(&computed);
    if (status != LW_OK) {
        lw_json_free(&lw_supply_shape, result);
    }
    return status;
}
