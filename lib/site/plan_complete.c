// SPDX-License-Identifier: GPL-3.0-or-later
//
// Defaults of a plan that depend on other keys, so that nobody behind has to know them.
#include "site/plan_inside.h"

#include "base/text.h"

#include <math.h>
#include <stdlib.h>

static const char *const default_checks[] = {"scan", "roster", "link", "supply", "noise"};

static bool complete_checks(struct lw_list *checks)
{
    if (checks->count > 0) {
        return true;
    }
    for (size_t i = 0; i < sizeof default_checks / sizeof *default_checks; i++) {
        char **place = lw_list_add(checks, sizeof *place);
        if (!place || !(*place = lw_duplicate(default_checks[i]))) {
            return false;
        }
    }
    return true;
}

static bool complete_supplies(struct lw_list *supplies)
{
    struct lw_supply *items = supplies->items;
    for (size_t i = 0; i < supplies->count; i++) {
        char name[32];
        if (!items[i].name) {
            lw_print(name, sizeof name, "PS%zu", i + 1);
            if (!(items[i].name = lw_duplicate(name))) {
                return false;
            }
        }
    }
    return true;
}

static void fill(double *value, double absent)
{
    if (isnan(*value)) {
        *value = absent;
    }
}

static void complete_fault(struct lw_fault *fault)
{
    fill(&fault->to_s, INFINITY);
    if (fault->kind == LW_FAULT_MAGNET_NEAR) {
        fill(&fault->field, 0);
        fill(&fault->steady, 0);
        fill(&fault->reach_taps, 1);
    } else if (fault->kind == LW_FAULT_LATE_REPLIES) {
        fill(&fault->share, 1);
    } else if (fault->kind == LW_FAULT_FOREIGN_CONTROLLER) {
        fill(&fault->cycle_ms, 500);
    }
}

enum lw_status lw_plan_complete(struct lw_plan *plan, struct lw_error *error)
{
    fill(&plan->cabinet_c, plan->ambient_c);
    if (!complete_checks(&plan->required_checks) || !complete_supplies(&plan->supplies)) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    struct lw_list faults = plan->simulated ? plan->simulated->faults : (struct lw_list){0};
    for (size_t i = 0; i < faults.count; i++) {
        complete_fault(&((struct lw_fault *)faults.items)[i]);
    }
    return LW_OK;
}
