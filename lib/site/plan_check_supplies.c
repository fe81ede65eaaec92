// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a plan's table cannot say about copper and supplies: every span that carries current must
// have a resistance that can be computed, every supply a tap that exists.
#include "site/plan_inside.h"

#include "site/semantic.h"

#include <math.h>
#include <string.h>

enum { POINTER = 80 };

static enum lw_status conductor_check(const struct lw_conductor_spec *conductor,
                                      const char *pointer, struct lw_error *error)
{
    if (!conductor) {
        return LW_OK;
    }
    bool awg = conductor->awg > -100;
    int given = !isnan(conductor->area_mm2) + awg + !isnan(conductor->ohm_per_km);
    if (given != 1) {
        return lw_fail(error, LW_BAD_FILE,
                       "%s: give exactly one of area_mm2, awg and ohm_per_km, not %d", pointer,
                       given);
    }
    if (conductor->stranded && !awg) {
        return lw_fail(error, LW_BAD_FILE, "%s/stranded: belongs to awg alone", pointer);
    }
    if (conductor->tinned && isnan(conductor->area_mm2)) {
        return lw_fail(error, LW_BAD_FILE, "%s/tinned: belongs to area_mm2 alone", pointer);
    }
    return LW_OK;
}

static enum lw_status span_conductors_check(const struct lw_span_spec *span, const char *pointer,
                                            struct lw_error *error)
{
    static const char *const keys[] = {"conductor", "v_plus", "zero_v"};
    const struct lw_conductor_spec *const specs[] = {span->conductor, span->v_plus, span->zero_v};
    enum lw_status status = LW_OK;
    for (int i = 0; status == LW_OK && i < 3; i++) {
        char place[POINTER];
        lw_print(place, sizeof place, "%s/%s", pointer, keys[i]);
        status = conductor_check(specs[i], place, error);
    }
    if (status == LW_OK && span->joint_ohm_max < span->joint_ohm) {
        return lw_fail(error, LW_BAD_FILE, "%s/joint_ohm_max: %g is below joint_ohm, %g", pointer,
                       span->joint_ohm_max, span->joint_ohm);
    }
    return status;
}

static enum lw_status span_check(const struct lw_plan *plan, size_t tap, struct lw_error *error)
{
    const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
    enum lw_status status = LW_OK;
    if (entry->span) {
        char pointer[POINTER];
        lw_print(pointer, sizeof pointer, "/chain/%zu/span", tap - 1);
        status = span_conductors_check(entry->span, pointer, error);
    }
    if (status != LW_OK || tap == 1) {
        return status; // span 1 carries no supply current
    }
    struct lw_span_facts facts;
    lw_plan_span_facts(plan, tap, &facts);
    const char *missing = isnan(facts.length_m)              ? "length_m"
                          : !facts.rail[0] || !facts.rail[1] ? "conductor"
                                                             : NULL;
    if (missing) {
        return lw_fail(error, LW_BAD_FILE,
                       "/chain/%zu/span/%s: missing, here and in span_default: the resistance of "
                       "span %zu is not known",
                       tap - 1, missing, tap);
    }
    return LW_OK;
}

static enum lw_status lead_check(const struct lw_lead *lead, size_t i, struct lw_error *error)
{
    char pointer[POINTER];
    if (!lead || lead->length_m == 0) {
        return LW_OK;
    }
    lw_print(pointer, sizeof pointer, "/supplies/%zu/lead/conductor", i);
    return conductor_check(&lead->conductor, pointer, error);
}

static enum lw_status supply_name_check(const struct lw_plan *plan, size_t i,
                                        struct lw_error *error)
{
    const struct lw_supply *supplies = plan->supplies.items;
    char word[LW_SITE_WORD];
    for (size_t k = 0; k < i; k++) {
        if (strcmp(supplies[i].name, supplies[k].name) == 0) {
            return lw_fail(error, LW_BAD_FILE, "/supplies/%zu/name: '%s' is there already", i,
                           lw_site_word(word, supplies[i].name));
        }
    }
    return LW_OK;
}

static enum lw_status supply_check(const struct lw_plan *plan, size_t i, struct lw_error *error)
{
    const struct lw_supply *supply = &((const struct lw_supply *)plan->supplies.items)[i];
    char pointer[POINTER];
    lw_print(pointer, sizeof pointer, "/supplies/%zu/feeds_tap", i);
    enum lw_status status = lw_plan_check_tap(plan, supply->feeds_tap, pointer, error);
    if (status == LW_OK) {
        status = supply_name_check(plan, i, error);
    }
    if (status == LW_OK) {
        status = lead_check(supply->lead, i, error);
    }
    if (status == LW_OK) {
        struct lw_error inner = {0};
        status = lw_derating_check(supply->derating.items, supply->derating.count, &inner);
        if (status != LW_OK) {
            lw_fail(error, status, "/supplies/%zu/derating: %s", i, inner.says);
        }
    }
    return status;
}

enum lw_status lw_plan_check_supplies(const struct lw_plan *plan, struct lw_error *error)
{
    enum lw_status status = span_conductors_check(&plan->span_default, "/span_default", error);
    for (size_t tap = 1; status == LW_OK && tap <= plan->chain.count; tap++) {
        status = span_check(plan, tap, error);
    }
    for (size_t i = 0; status == LW_OK && i < plan->supplies.count; i++) {
        status = supply_check(plan, i, error);
    }
    return status;
}
