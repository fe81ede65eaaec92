// SPDX-License-Identifier: GPL-3.0-or-later
//
// The data pair beside the supply: unit loads and idle voltage, from the plan alone. Repeaters and
// isolators part the pair into segments with receivers of their own; the fullest one is reported,
// and the idle voltage of the one that has the bias.
#include "check/supply_line.h"

#include "power/line_budget.h"

enum { TERMINATIONS_MAX = 16, REPEATER = 1 };

// The controller and the tester: one unit load each, the most that TIA/EIA-485 grants a receiver.
static const double masters_unit_loads = 2;

struct counted {
    double unit_loads; // NAN: some profile does not say
    double threshold_v;
    size_t first, last; // taps
};

// From the tap `from` up to the one before the next repeater or isolator.
static struct counted count_segment(const struct lw_plan *plan, size_t from)
{
    struct counted counted = {
        .unit_loads = masters_unit_loads, .threshold_v = -INFINITY, .first = from, .last = from};
    for (size_t tap = from; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (tap > from && entry->passive >= REPEATER) {
            break;
        }
        counted.last = tap;
        if (entry->is == NULL) {
            continue;
        }
        const struct lw_list *window = &entry->is->electrical.receiver_threshold_v;
        bool says = window->count == 2;
        counted.unit_loads += entry->is->electrical.unit_loads;
        counted.threshold_v =
            fmax(counted.threshold_v, says ? ((const double *)window->items)[1] : LW_THRESHOLD_V);
    }
    return counted;
}

static size_t terminators_in(const struct lw_plan *plan, const struct counted *counted,
                             double ohm[TERMINATIONS_MAX])
{
    const struct lw_termination *all = plan->line.terminations.items;
    size_t count = 0;
    for (size_t i = 0; i < plan->line.terminations.count && count < TERMINATIONS_MAX; i++) {
        size_t tap = lw_plan_at(plan, all[i].at);
        if (tap >= counted->first && tap <= counted->last) {
            ohm[count++] = all[i].ohm;
        }
    }
    return count;
}

static struct lw_line_load load_of(const struct lw_plan *plan, const struct counted *counted)
{
    double ohm[TERMINATIONS_MAX];
    struct lw_segment segment = {.unit_loads = counted->unit_loads, .terminator_ohm = ohm};
    struct lw_line_load load;
    segment.terminator_count = terminators_in(plan, counted, ohm);
    const struct lw_bias *bias = plan->line.bias;
    size_t at = bias != NULL ? lw_plan_at(plan, bias->at) : 0;
    if (at >= counted->first && at <= counted->last) {
        segment.bias_supply_v = bias->supply_v;
        segment.pull_up_ohm = bias->pull_up_ohm;
        segment.pull_down_ohm = bias->pull_down_ohm;
    }
    lw_line_load(&segment, counted->threshold_v, &load);
    return load;
}

void lw_supply_line(const struct lw_plan *plan, struct lw_supply_line *line)
{
    *line = (struct lw_supply_line){.unit_loads = NAN, .idle_v = NAN};
    for (size_t tap = 1; tap <= lw_plan_taps(plan);) {
        struct counted counted = count_segment(plan, tap);
        tap = counted.last + 1;
        if (isnan(counted.unit_loads)) {
            continue;
        }
        struct lw_line_load load = load_of(plan, &counted);
        line->too_many_loads = line->too_many_loads || load.too_many_loads;
        line->unit_loads = fmax(line->unit_loads, counted.unit_loads);
        if (load.idle_v != 0) {
            line->idle_v = load.idle_v;
            line->threshold_v = counted.threshold_v;
            line->idle_undefined = load.idle_undefined;
        }
    }
}

void lw_supply_line_findings(const struct lw_plan *plan, struct lw_findings *findings)
{
    struct lw_supply_line line;
    lw_supply_line(plan, &line);
    if (line.too_many_loads) {
        bool biased = isfinite(line.idle_v);
        struct lw_finding *finding = lw_findings_add(
            findings, "supply_unit_loads", LW_ATTENTION,
            "the data pair carries %.1f unit loads, allowed are %.0f%s", line.unit_loads,
            LW_MOST_UNIT_LOADS - (biased ? LW_BIAS_COSTS_NODES : 0),
            biased ? " with a bias on it" : "");
        if (finding != NULL) {
            finding->value = line.unit_loads;
        }
    }
    if (line.idle_undefined) {
        struct lw_finding *finding =
            lw_findings_add(findings, "supply_bias_low", LW_ATTENTION,
                            "with nobody sending the pair has %.2f V, some receivers need %.2f V",
                            line.idle_v, line.threshold_v);
        if (finding != NULL) {
            finding->value = line.idle_v;
            finding->limit = line.threshold_v;
            finding->unit = lw_duplicate("V");
        }
    }
}
