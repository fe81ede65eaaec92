// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a plan's table cannot say about the plan as a whole and about its chain: names and addresses
// that are used once, taps that exist, words that mean something.
#include "site/plan_inside.h"

#include "site/semantic.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static const char *const known_checks[] = {"scan",  "roster",    "link",    "supply",
                                           "noise", "touch",     "masters", "restart",
                                           "meter", "checklist", "listen",  "diagnose"};

enum lw_status lw_plan_check_tap(const struct lw_plan *plan, int tap, const char *pointer,
                                 struct lw_error *error)
{
    if (tap == LW_TAP_HEAD || tap == LW_TAP_TAIL || (size_t)tap <= plan->chain.count) {
        return LW_OK;
    }
    return lw_fail(error, LW_BAD_FILE, "%s: there is no tap %d, the chain has %zu", pointer, tap,
                   plan->chain.count);
}

static enum lw_status required_checks_check(const struct lw_plan *plan, struct lw_error *error)
{
    char *const *names = plan->required_checks.items;
    char word[LW_SITE_WORD];
    for (size_t i = 0; i < plan->required_checks.count; i++) {
        size_t k = 0;
        while (k < sizeof known_checks / sizeof *known_checks &&
               strcmp(names[i], known_checks[k]) != 0) {
            k++;
        }
        if (k == sizeof known_checks / sizeof *known_checks) {
            return lw_fail(error, LW_BAD_FILE, "/required_checks/%zu: there is no check '%s'", i,
                           lw_site_word(word, names[i]));
        }
    }
    return LW_OK;
}

static enum lw_status ends_check(const struct lw_plan *plan, struct lw_error *error)
{
    char pointer[64];
    enum lw_status status = lw_plan_check_tap(plan, plan->line.tester_at, "/line/tester_at", error);
    if (status == LW_OK && plan->line.bias) {
        status = lw_plan_check_tap(plan, plan->line.bias->at, "/line/bias/at", error);
    }
    const struct lw_termination *ends = plan->line.terminations.items;
    for (size_t i = 0; status == LW_OK && i < plan->line.terminations.count; i++) {
        lw_print(pointer, sizeof pointer, "/line/terminations/%zu/at", i);
        status = lw_plan_check_tap(plan, ends[i].at, pointer, error);
    }
    const struct lw_zero_v_bond *bonds = plan->zero_v_bonds.items;
    for (size_t i = 0; status == LW_OK && i < plan->zero_v_bonds.count; i++) {
        lw_print(pointer, sizeof pointer, "/zero_v_bonds/%zu/at", i);
        status = lw_plan_check_tap(plan, bonds[i].at, pointer, error);
    }
    return status;
}

static enum lw_status combinations_check(const struct lw_plan *plan, struct lw_error *error)
{
    const struct lw_combination *sums = plan->combinations.items;
    char word[LW_SITE_WORD];
    for (size_t i = 0; i < plan->combinations.count; i++) {
        const struct lw_term *terms = sums[i].terms.items;
        for (size_t k = 0; k < sums[i].terms.count; k++) {
            if (!lw_plan_by_name(plan, terms[k].node, NULL)) {
                return lw_fail(error, LW_BAD_FILE,
                               "/combinations/%zu/terms/%zu/1: there is no node '%s' in the chain",
                               i, k, lw_site_word(word, terms[k].node));
            }
        }
    }
    return LW_OK;
}

static enum lw_status reads_check(const struct lw_plan *plan, struct lw_error *error)
{
    bool *selected = calloc(plan->chain.count, sizeof *selected);
    if (!selected) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    enum lw_status status = LW_OK;
    struct lw_list list = plan->controller ? plan->controller->reads : (struct lw_list){0};
    const struct lw_controller_read *reads = list.items;
    for (size_t i = 0; status == LW_OK && i < list.count; i++) {
        struct lw_error inner = {0};
        int most = reads[i].function <= 2 ? 2000 : 125;
        if (lw_plan_select(plan, reads[i].nodes, NULL, selected, &inner) != LW_OK) {
            status = lw_fail(error, LW_BAD_FILE, "/controller/reads/%zu/nodes: %s", i, inner.says);
        } else if (reads[i].count > most) {
            status = lw_fail(error, LW_BAD_FILE,
                             "/controller/reads/%zu/count: function %d reads at most %d, is %d", i,
                             reads[i].function, most, reads[i].count);
        }
    }
    free(selected);
    return status;
}

enum lw_status lw_plan_check(const struct lw_plan *plan, struct lw_error *error)
{
    static enum lw_status (*const checks[])(const struct lw_plan *, struct lw_error *) = {
        lw_plan_check_chain, required_checks_check,  ends_check,           combinations_check,
        reads_check,         lw_plan_check_supplies, lw_plan_check_virtual};
    enum lw_status status = lw_site_format(plan->format, "linewalk/plan/1", error);
    if (status == LW_OK) {
        status = lw_site_time(plan->made_on, "/made_on", error);
    }
    if (status == LW_OK) {
        status = lw_site_framing(plan->line.framing, "/line/framing", error);
    }
    for (size_t i = 0; status == LW_OK && i < sizeof checks / sizeof *checks; i++) {
        status = checks[i](plan, error);
    }
    return status;
}
