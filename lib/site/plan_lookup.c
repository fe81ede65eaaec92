// SPDX-License-Identifier: GPL-3.0-or-later
//
// Finding one's way in a plan: taps, nodes by name and address, and the limits that hold at a tap.
#include "site/plan.h"

#include <assert.h>
#include <math.h>
#include <string.h>

size_t lw_plan_taps(const struct lw_plan *plan)
{
    return plan->chain.count;
}

size_t lw_plan_nodes(const struct lw_plan *plan)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    size_t nodes = 0;
    for (size_t i = 0; i < plan->chain.count; i++) {
        nodes += entries[i].node ? 1 : 0;
    }
    return nodes;
}

const struct lw_chain_entry *lw_plan_tap(const struct lw_plan *plan, size_t tap)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    return tap >= 1 && tap <= plan->chain.count ? &entries[tap - 1] : NULL;
}

static bool begins_section(const struct lw_plan *plan, size_t tap)
{
    const struct lw_supply *supplies = plan->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        if (supplies[i].feeds_tap == (int)tap && supplies[i].cuts_before > 0) {
            return tap > 1;
        }
    }
    return false;
}

size_t lw_plan_sections(const struct lw_plan *plan, size_t *sections)
{
    size_t section = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        section += begins_section(plan, tap);
        sections[tap - 1] = section;
    }
    return section + 1;
}

static const struct lw_chain_entry *found(const struct lw_plan *plan, size_t i, size_t *tap)
{
    if (tap) {
        *tap = i + 1;
    }
    return &((const struct lw_chain_entry *)plan->chain.items)[i];
}

const struct lw_chain_entry *lw_plan_by_name(const struct lw_plan *plan, const char *node,
                                             size_t *tap)
{
    assert(node);
    const struct lw_chain_entry *entries = plan->chain.items;
    for (size_t i = 0; i < plan->chain.count; i++) {
        if (entries[i].node && strcmp(entries[i].node, node) == 0) {
            return found(plan, i, tap);
        }
    }
    return NULL;
}

const struct lw_chain_entry *lw_plan_by_address(const struct lw_plan *plan, int address,
                                                size_t *tap)
{
    const struct lw_chain_entry *entries = plan->chain.items;
    for (size_t i = 0; i < plan->chain.count; i++) {
        if (entries[i].node && entries[i].address == address) {
            return found(plan, i, tap);
        }
    }
    return NULL;
}

const struct lw_fault *lw_plan_fault(const struct lw_plan *plan, size_t index)
{
    if (!plan->simulated || index >= plan->simulated->faults.count) {
        return NULL;
    }
    return &((const struct lw_fault *)plan->simulated->faults.items)[index];
}

size_t lw_plan_at(const struct lw_plan *plan, int at)
{
    return at == LW_TAP_HEAD ? 1 : at == LW_TAP_TAIL ? plan->chain.count : (size_t)at;
}

static void take(double *limit, double next)
{
    *limit = isnan(*limit) ? next : *limit;
}

static void take_all(struct lw_limits *limits, const struct lw_limits *next)
{
    take(&limits->margin_v, next->margin_v);
    take(&limits->supply_load_pct, next->supply_load_pct);
    take(&limits->error_rate, next->error_rate);
    take(&limits->bursts_per_h, next->bursts_per_h);
    take(&limits->reply_ms, next->reply_ms);
    take(&limits->noise_limit, next->noise_limit);
    take(&limits->first_answer_s, next->first_answer_s);
}

struct lw_limits lw_plan_limits(const struct lw_plan *plan, size_t tap)
{
    static const struct lw_limits built_in = {1, 80, 1e-3, NAN, NAN, NAN, NAN};
    struct lw_limits limits = {NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
    if (entry && entry->limits) {
        take_all(&limits, entry->limits);
    }
    take_all(&limits, &plan->limits);
    if (entry && entry->is) {
        take(&limits.noise_limit, entry->is->metrology.noise_limit);
        take(&limits.reply_ms, entry->is->timing.slowest_reply_ms);
    }
    take_all(&limits, &built_in);
    return limits;
}
