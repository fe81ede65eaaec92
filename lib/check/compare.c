// SPDX-License-Identifier: GPL-3.0-or-later
//
// Row by row, before against now.
#include "check/compare.h"

#include "base/text.h"
#include "base/words.h"
#include "stats/interval.h"
#include "stats/quantile.h"

#include <math.h>

static const double confidence = 0.95;
static const double matters_margin = 0.10; // of the volts above the minimum
static const double matters_grown = 1.25;  // of a spread or a rate

// What a row's bounds come from: standard uncertainty of the difference and margin before, V;
// degrees of freedom before and now; polls before and now.
struct basis {
    double one, other;
};
struct comparing {
    const struct lw_plan *plan;
    const struct lw_compare_side *before, *now;
    struct lw_compare_result *result;
    struct lw_list bases; // of struct basis, beside the rows
    bool failed;          // memory ran out
};

static const struct lw_roster_node *roster_of(const struct lw_compare_side *side, const char *name)
{
    const struct lw_roster_node *nodes = side->roster != NULL ? side->roster->nodes.items : NULL;
    for (size_t i = 0; nodes != NULL && i < side->roster->nodes.count; i++) {
        if (nodes[i].node != NULL && strcmp(nodes[i].node, name) == 0) {
            return &nodes[i];
        }
    }
    return NULL;
}

// 1: the same serial in both, -1: another one, 0: not known.
static int same_serial(const struct comparing *comparing, const char *name)
{
    const struct lw_roster_node *before = roster_of(comparing->before, name);
    const struct lw_roster_node *now = roster_of(comparing->now, name);
    if (before == NULL || now == NULL || before->serial == NULL || now->serial == NULL) {
        return 0;
    }
    return strcmp(before->serial, now->serial) == 0 ? 1 : -1;
}

static void add_row(struct comparing *comparing, const struct lw_compare_row *values,
                    const char *node, const char *unit, const struct basis *from)
{
    struct lw_compare_row *row = lw_list_add(&comparing->result->rows, sizeof *row);
    struct basis *basis = lw_list_add(&comparing->bases, sizeof *basis);
    comparing->failed |= row == NULL || basis == NULL;
    if (row != NULL) {
        *row = *values;
        row->node = lw_duplicate(node);
        row->unit = lw_duplicate(unit);
        row->change = row->now - row->before;
        row->other_serial = same_serial(comparing, node) < 0;
        comparing->failed |= row->node == NULL || row->unit == NULL;
    }
    if (basis != NULL) {
        *basis = *from;
    }
}

static void not_compared(struct comparing *comparing, const char *why)
{
    char **text = lw_list_add(&comparing->result->not_compared, sizeof *text);
    if (text != NULL) {
        *text = lw_duplicate(why);
    }
    comparing->failed |= text == NULL || *text == NULL;
}

static const struct lw_supply_tap *supply_tap(const struct lw_supply_result *result,
                                              const char *node)
{
    const struct lw_supply_tap *taps = result->taps.items;
    for (size_t i = 0; i < result->taps.count; i++) {
        if (taps[i].node != NULL && strcmp(taps[i].node, node) == 0) {
            return &taps[i];
        }
    }
    return NULL;
}

static double step_v(const struct lw_plan *plan, const char *node)
{
    const struct lw_chain_entry *entry = plan != NULL ? lw_plan_by_name(plan, node, NULL) : NULL;
    return entry != NULL && entry->is != NULL && entry->is->electrical.supply_reading != NULL
               ? entry->is->electrical.supply_reading->step_v
               : (double)NAN;
}

// Standard uncertainty of the difference of two readings of a node's voltmeter.
static double volts_u(const struct comparing *comparing, const struct lw_supply_tap *before,
                      const struct lw_supply_tap *now)
{
    double step = step_v(comparing->plan, now->node);
    if (same_serial(comparing, now->node) == 1 && isfinite(step)) {
        return step / sqrt(6); // twice step^2 / 12
    }
    return hypot(before->measured_u_v, now->measured_u_v);
}

static void compare_supply(struct comparing *comparing)
{
    const struct lw_supply_result *before = comparing->before->supply;
    const struct lw_supply_result *now = comparing->now->supply;
    if (before == NULL || now == NULL) {
        not_compared(comparing, N_("supply: one of the visits has no finished check of it"));
        return;
    }
    const struct lw_supply_tap *taps = now->taps.items;
    size_t had = comparing->result->rows.count;
    for (size_t i = 0; i < now->taps.count; i++) {
        const struct lw_supply_tap *old =
            taps[i].node != NULL ? supply_tap(before, taps[i].node) : NULL;
        double u_v = old != NULL ? volts_u(comparing, old, &taps[i]) : (double)NAN;
        if (old == NULL || !isfinite(old->measured_v) || !isfinite(taps[i].measured_v) ||
            !isfinite(u_v)) {
            continue;
        }
        add_row(comparing,
                &(struct lw_compare_row){.what = LW_COMPARE_SUPPLY,
                                         .tap = taps[i].tap,
                                         .before = old->measured_v,
                                         .now = taps[i].measured_v},
                taps[i].node, "V", &(struct basis){u_v, old->measured_v - old->minimum_v});
    }
    if (comparing->result->rows.count == had) {
        not_compared(comparing, N_("supply: no node has told its volts on both visits"));
    }
}

static const struct lw_noise_node *noise_node(const struct lw_noise_result *result,
                                              const char *node)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].node != NULL && strcmp(nodes[i].node, node) == 0) {
            return &nodes[i];
        }
    }
    return NULL;
}

static bool comparable(const struct lw_noise_node *before, const struct lw_noise_node *now)
{
    return before != NULL && before->stdev > 0 && now->stdev > 0 && before->unit != NULL &&
           now->unit != NULL && strcmp(before->unit, now->unit) == 0 &&
           before->effective_n_spread > 2 && now->effective_n_spread > 2;
}

static bool same_state(const char *a, const char *b)
{
    return strcmp(a != NULL ? a : "", b != NULL ? b : "") == 0;
}

static void compare_noise(struct comparing *comparing)
{
    const struct lw_noise_result *before = comparing->before->noise, *now = comparing->now->noise;
    if (before == NULL || now == NULL) {
        not_compared(comparing, N_("noise: one of the visits has no finished check of it"));
        return;
    }
    if (!same_state(before->state, now->state)) {
        not_compared(comparing, N_("noise: the machine was in another state"));
        return;
    }
    const struct lw_noise_node *nodes = now->nodes.items;
    for (size_t i = 0; i < now->nodes.count; i++) {
        const struct lw_noise_node *old =
            nodes[i].node != NULL ? noise_node(before, nodes[i].node) : NULL;
        if (!comparable(old, &nodes[i])) {
            continue;
        }
        add_row(comparing,
                &(struct lw_compare_row){.what = LW_COMPARE_NOISE,
                                         .tap = nodes[i].tap,
                                         .before = old->stdev,
                                         .now = nodes[i].stdev},
                nodes[i].node, nodes[i].unit,
                &(struct basis){old->effective_n_spread - 1, nodes[i].effective_n_spread - 1});
    }
}

static double errors_of(const struct lw_link_node *node)
{
    return node->no_answer + node->crc_error + node->wrong_answer;
}

static const struct lw_link_node *link_node(const struct lw_link_result *result, const char *node)
{
    const struct lw_link_node *nodes = result->nodes.items;
    for (size_t i = 0; node != NULL && i < result->nodes.count; i++) {
        if (nodes[i].node != NULL && strcmp(nodes[i].node, node) == 0) {
            return &nodes[i];
        }
    }
    return NULL;
}

static void compare_errors(struct comparing *comparing)
{
    const struct lw_link_result *before = comparing->before->link, *now = comparing->now->link;
    if (before == NULL || now == NULL) {
        not_compared(comparing, N_("link: one of the visits has no finished check of it"));
        return;
    }
    const struct lw_link_node *nodes = now->nodes.items;
    for (size_t i = 0; i < now->nodes.count; i++) {
        const struct lw_link_node *old = link_node(before, nodes[i].node);
        if (old == NULL || !(old->polls > 0) || !(nodes[i].polls > 0)) {
            continue;
        }
        add_row(comparing,
                &(struct lw_compare_row){.what = LW_COMPARE_ERRORS,
                                         .tap = nodes[i].tap,
                                         .before = errors_of(old) / old->polls,
                                         .now = errors_of(&nodes[i]) / nodes[i].polls},
                nodes[i].node, "1", &(struct basis){old->polls, nodes[i].polls});
    }
}

static enum lw_status bound_supply(struct lw_compare_row *row, const struct basis *basis,
                                   double alpha, struct lw_error *error)
{
    double z = 0, u_v = basis->one, margin_v = basis->other;
    enum lw_status status = lw_quantile_normal(LW_TAIL_ABOVE, alpha / 2, &z, error);
    row->change_low = row->change - z * u_v;
    row->change_high = row->change + z * u_v;
    bool matters = -row->change >= matters_margin * fmax(margin_v, 0);
    row->outcome = row->change_high < 0 && matters               ? LW_COMPARE_WORSE
                   : row->change_high < 0 || row->change_low > 0 ? LW_COMPARE_MOVED
                                                                 : LW_COMPARE_SAME;
    return status;
}

static void judge_growth(struct lw_compare_row *row)
{
    row->outcome = row->change_low > 0 && row->now >= matters_grown * row->before ? LW_COMPARE_WORSE
                   : row->change_low > 0 || row->change_high < 0                  ? LW_COMPARE_MOVED
                                                                                  : LW_COMPARE_SAME;
}

static enum lw_status bound_noise(struct lw_compare_row *row, const struct basis *basis,
                                  double alpha, struct lw_error *error)
{
    double dof_before = basis->one, dof_now = basis->other, above = 1, below = 1;
    double ratio = row->now / row->before;
    enum lw_status status =
        lw_quantile_f(LW_TAIL_ABOVE, alpha / 2, dof_now, dof_before, &above, error);
    if (status == LW_OK) {
        status = lw_quantile_f(LW_TAIL_ABOVE, alpha / 2, dof_before, dof_now, &below, error);
    }
    row->change_low = row->before * (ratio / sqrt(above) - 1);
    row->change_high = row->before * (ratio * sqrt(below) - 1);
    judge_growth(row);
    return status;
}

static enum lw_status bound_errors(struct lw_compare_row *row, const struct basis *basis,
                                   double alpha, struct lw_error *error)
{
    struct lw_interval before = {0}, now = {0};
    uint64_t polls_before = (uint64_t)basis->one, polls_now = (uint64_t)basis->other;
    uint64_t errors_before = (uint64_t)llround(row->before * basis->one);
    uint64_t errors_now = (uint64_t)llround(row->now * basis->other);
    enum lw_status status = lw_interval_clopper_pearson(LW_TWO_SIDED, 1 - alpha / 2, errors_before,
                                                        polls_before, &before, error);
    if (status == LW_OK) {
        status = lw_interval_clopper_pearson(LW_TWO_SIDED, 1 - alpha / 2, errors_now, polls_now,
                                             &now, error);
    }
    row->change_low = now.low - before.high;
    row->change_high = now.high - before.low;
    judge_growth(row);
    return status;
}

static enum lw_status bound(struct lw_compare_row *row, const struct basis *basis, double alpha,
                            struct lw_error *error)
{
    return row->what == LW_COMPARE_SUPPLY  ? bound_supply(row, basis, alpha, error)
           : row->what == LW_COMPARE_NOISE ? bound_noise(row, basis, alpha, error)
                                           : bound_errors(row, basis, alpha, error);
}

static double count_exchanged(const struct comparing *comparing)
{
    const struct lw_roster_result *roster = comparing->now->roster;
    const struct lw_roster_node *nodes = roster != NULL ? roster->nodes.items : NULL;
    double exchanged = 0;
    for (size_t i = 0; nodes != NULL && i < roster->nodes.count; i++) {
        exchanged += nodes[i].node != NULL && same_serial(comparing, nodes[i].node) < 0;
    }
    return exchanged;
}

enum lw_status lw_compare(const struct lw_plan *plan, const struct lw_compare_side *before,
                          const struct lw_compare_side *now, struct lw_compare_result *result,
                          struct lw_rule *rule, struct lw_error *error)
{
    struct comparing comparing = {.plan = plan, .before = before, .now = now, .result = result};
    result->earlier_opened = lw_duplicate(before->opened);
    result->exchanged = count_exchanged(&comparing);
    compare_supply(&comparing);
    compare_noise(&comparing);
    compare_errors(&comparing);
    struct lw_compare_row *rows = result->rows.items;
    enum lw_status status =
        comparing.failed ? lw_fail(error, LW_MEMORY, "no memory to compare") : LW_OK;
    for (size_t i = 0; i < result->rows.count && status == LW_OK; i++) {
        status = bound(&rows[i], &((const struct basis *)comparing.bases.items)[i],
                       (1 - confidence) / (double)result->rows.count, error);
    }
    free(comparing.bases.items);
    *rule = (struct lw_rule){.confidence = confidence,
                             .sided = 1,
                             .corrected_for = (int)result->rows.count,
                             .proves = 1};
    return status;
}
