// SPDX-License-Identifier: GPL-3.0-or-later
//
// A plan's chain as the two-rail ladder that lib/power solves: copper and joints per rail, loads as
// the profiles have them, supplies derated by the cabinet's air. Which end of the tolerances is
// taken is the caller's choice.
#include "site/plan_inside.h"

#include "power/conductor.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static double first_number(double own, double other, double otherwise)
{
    return !isnan(own) ? own : !isnan(other) ? other : otherwise;
}

// A rail's conductor: the span's own for that rail, its own for both, then the default's.
static const struct lw_conductor_spec *rail_conductor(const struct lw_span_spec *own,
                                                      const struct lw_span_spec *other, int rail)
{
    const struct lw_conductor_spec *const choices[] = {
        rail == 0 ? own->v_plus : own->zero_v, own->conductor,
        rail == 0 ? other->v_plus : other->zero_v, other->conductor};
    for (int i = 0; i < 4; i++) {
        if (choices[i]) {
            return choices[i];
        }
    }
    return NULL;
}

void lw_plan_span_facts(const struct lw_plan *plan, size_t span, struct lw_span_facts *facts)
{
    const struct lw_span_spec *other = &plan->span_default;
    const struct lw_chain_entry *entry = lw_plan_tap(plan, span);
    const struct lw_span_spec *own = entry && entry->span ? entry->span : other;
    int joints = own->joints >= 0 ? own->joints : other->joints;
    double joint_ohm = first_number(own->joint_ohm, other->joint_ohm, 0.01);
    *facts = (struct lw_span_facts){
        .length_m = first_number(own->length_m, other->length_m, NAN),
        .length_tolerance_pct =
            first_number(own->length_tolerance_pct, other->length_tolerance_pct, 0),
        .joint_ohm = joint_ohm,
        .joint_ohm_max =
            fmax(first_number(own->joint_ohm_max, other->joint_ohm_max, joint_ohm), joint_ohm),
        .conductor_c = first_number(own->conductor_c, other->conductor_c, plan->ambient_c),
        .joints = joints >= 0 ? joints : 0,
        .rail = {rail_conductor(own, other, 0), rail_conductor(own, other, 1)},
    };
}

// How far a conductor's temperature may be from the planned one; our choice.
static const double conductor_spread_k = 10;

static bool is_nominal(enum lw_ladder_end end)
{
    return end == LW_LADDER_NOMINAL || end == LW_LADDER_BEST;
}

// -1 at the good end of a tolerance, 1 at the bad one, 0 in the middle.
static double towards(enum lw_ladder_end end)
{
    return end == LW_LADDER_WORST ? 1 : end == LW_LADDER_BEST ? -1 : 0;
}

static enum lw_status copper_ohm(const struct lw_conductor_spec *spec, enum lw_ladder_end end,
                                 double length_m, double conductor_c, double *ohm,
                                 struct lw_error *error)
{
    struct lw_conductor conductor = {
        .kind = LW_CONDUCTOR_OHM_PER_KM,
        .value = spec->ohm_per_km,
        .tinned = spec->tinned,
        .stranded = spec->stranded,
        .parallel = spec->parallel,
    };
    if (!isnan(spec->area_mm2)) {
        conductor.kind = LW_CONDUCTOR_AREA;
        conductor.value = spec->area_mm2;
    } else if (spec->awg > -100) {
        conductor.kind = LW_CONDUCTOR_AWG;
        conductor.value = spec->awg;
    }
    double off_k = towards(end) * conductor_spread_k;
    return lw_conductor_ohm(
        &conductor, is_nominal(end) ? LW_CONDUCTOR_NOMINAL : LW_CONDUCTOR_MAXIMUM, length_m,
        off_k != 0 ? fmin(fmax(conductor_c + off_k, -60), 200) : conductor_c, ohm, error);
}

static enum lw_status span_ohm(const struct lw_span_facts *facts, enum lw_ladder_end end,
                               double *plus_ohm, double *zero_ohm, struct lw_error *error)
{
    double *const rails[] = {plus_ohm, zero_ohm};
    // Span 1 alone may lack its length.
    double length_m = isnan(facts->length_m) ? 0 : facts->length_m;
    length_m *= 1 + towards(end) * facts->length_tolerance_pct / 100;
    double joint_ohm = end == LW_LADDER_WORST ? facts->joint_ohm_max : facts->joint_ohm;
    for (int i = 0; i < 2; i++) {
        double copper = 0;
        enum lw_status status = LW_OK;
        if (facts->rail[i]) {
            status = copper_ohm(facts->rail[i], end, length_m, facts->conductor_c, &copper, error);
        }
        if (status != LW_OK) {
            return status;
        }
        *rails[i] = copper + facts->joints * joint_ohm;
    }
    return LW_OK;
}

enum lw_status lw_plan_span_ohm(const struct lw_plan *plan, size_t span, enum lw_ladder_end end,
                                double *plus_ohm, double *zero_ohm, struct lw_error *error)
{
    assert(span >= 1 && span <= plan->chain.count);
    struct lw_span_facts facts;
    lw_plan_span_facts(plan, span, &facts);
    enum lw_status status = span_ohm(&facts, end, plus_ohm, zero_ohm, error);
    return status == LW_OK ? status : lw_error_within(error, "span %zu", span);
}

enum lw_status lw_plan_span_ohm_with(const struct lw_plan *plan, size_t span,
                                     enum lw_ladder_end end,
                                     const struct lw_conductor_spec *conductor, double *plus_ohm,
                                     double *zero_ohm, double *length_m, struct lw_error *error)
{
    assert(span >= 1 && span <= plan->chain.count);
    struct lw_span_facts facts;
    lw_plan_span_facts(plan, span, &facts);
    facts.rail[0] = facts.rail[1] = conductor;
    *length_m = isnan(facts.length_m) ? 0 : facts.length_m;
    enum lw_status status = span_ohm(&facts, end, plus_ohm, zero_ohm, error);
    return status == LW_OK ? status : lw_error_within(error, "span %zu", span);
}

static double worst_or(enum lw_ladder_end end, double typical, double worst)
{
    return end == LW_LADDER_WORST && !isnan(worst) ? worst : typical;
}

static double running_a(const struct lw_load *load, double volts)
{
    if (!(volts > 0)) {
        return 0;
    }
    return load->kind == LW_LOAD_POWER      ? load->value / volts
           : load->kind == LW_LOAD_CURRENT  ? load->value
           : load->kind == LW_LOAD_RESISTOR ? volts / load->value
                                            : 0;
}

static struct lw_load load_of(const struct lw_profile *profile, enum lw_ladder_end end)
{
    static const enum lw_load_kind kinds[] = {LW_LOAD_POWER, LW_LOAD_CURRENT, LW_LOAD_RESISTOR};
    const struct lw_electrical *has = &profile->electrical;
    const double typical[] = {has->load.watts, has->load.amps, has->load.ohm};
    const double worst[] = {has->load.watts_max, has->load.amps_max, has->load.ohm_min};
    struct lw_load load = {.kind = LW_LOAD_NONE};
    if (isnan(typical[has->load.type])) {
        return load;
    }
    load.kind = kinds[has->load.type];
    load.value = worst_or(end, typical[has->load.type], worst[has->load.type]);
    load.drop_out_v = first_number(has->drop_out_v, NAN, 0);
    load.start_v =
        fmax(first_number(has->start_v, has->minimum_v, load.drop_out_v), load.drop_out_v);
    load.start_up_a = first_number(has->start_up_a, NAN, running_a(&load, load.start_v));
    return load;
}

static enum lw_status fill_tap(const struct lw_plan *plan, size_t tap, enum lw_ladder_end end,
                               struct lw_tap *to, struct lw_error *error)
{
    const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
    enum lw_status status =
        lw_plan_span_ohm(plan, tap, end, &to->span_plus_ohm, &to->span_zero_ohm, error);
    if (status == LW_OK && entry->is) {
        to->span_plus_ohm += entry->is->electrical.through_ohm;
        to->span_zero_ohm += entry->is->electrical.through_ohm;
        to->load = load_of(entry->is, end);
    }
    return status;
}

static enum lw_status fill_source(const struct lw_plan *plan, const struct lw_supply *supply,
                                  enum lw_ladder_end end, struct lw_source *to,
                                  struct lw_error *error)
{
    double lead_ohm = 0;
    if (supply->lead) {
        enum lw_status status = LW_OK;
        if (supply->lead->length_m > 0) {
            status = copper_ohm(&supply->lead->conductor, end, supply->lead->length_m,
                                plan->ambient_c, &lead_ohm, error);
        }
        if (status != LW_OK) {
            return lw_error_within(error, "lead of '%s'", supply->name);
        }
        lead_ohm += supply->lead->joints * supply->lead->joint_ohm;
    }
    *to = (struct lw_source){
        .tap = (size_t)supply->feeds_tap - 1,
        .volts = supply->nominal_v * (1 - towards(end) * supply->tolerance_pct / 100),
        .plus_ohm = supply->output_ohm + lead_ohm,
        .zero_ohm = lead_ohm,
        .limit_a = supply->limit_a * lw_derating_fraction(supply->derating.items,
                                                          supply->derating.count, plan->cabinet_c),
        .past_limit = (enum lw_past_limit)supply->past_limit,
        .fold_back_a = supply->fold_back_a,
        .reverse = (enum lw_reverse)supply->reverse,
    };
    return LW_OK;
}

static enum lw_status ladder_room(const struct lw_plan *plan, struct lw_ladder *ladder,
                                  struct lw_error *error)
{
    size_t bonds = plan->zero_v_bonds.count;
    *ladder = (struct lw_ladder){
        .tap_count = plan->chain.count,
        .taps = calloc(plan->chain.count, sizeof *ladder->taps),
        .source_count = plan->supplies.count,
        .sources = calloc(plan->supplies.count, sizeof *ladder->sources),
        .bond_count = bonds,
        .bonds = bonds > 0 ? calloc(bonds, sizeof *ladder->bonds) : NULL,
    };
    if (!ladder->taps || !ladder->sources || (bonds > 0 && !ladder->bonds)) {
        lw_ladder_free(ladder);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    return LW_OK;
}

static void fill_cuts_and_bonds(const struct lw_plan *plan, struct lw_ladder *ladder)
{
    const struct lw_supply *supplies = plan->supplies.items;
    for (size_t i = 0; i < plan->supplies.count; i++) {
        struct lw_tap *tap = &ladder->taps[supplies[i].feeds_tap - 1];
        tap->cut_plus = tap->cut_plus || supplies[i].cuts_before >= 1;
        tap->cut_zero = tap->cut_zero || supplies[i].cuts_before == 2;
    }
    const struct lw_zero_v_bond *bonds = plan->zero_v_bonds.items;
    for (size_t i = 0; i < plan->zero_v_bonds.count; i++) {
        ladder->bonds[i] =
            (struct lw_bond){.tap = lw_plan_at(plan, bonds[i].at) - 1, .ohm = bonds[i].ohm};
    }
}

enum lw_status lw_plan_ladder(const struct lw_plan *plan, enum lw_ladder_end end,
                              struct lw_ladder *ladder, struct lw_error *error)
{
    assert(plan && ladder);
    const struct lw_supply *supplies = plan->supplies.items;
    enum lw_status status = ladder_room(plan, ladder, error);
    if (status != LW_OK) {
        return status;
    }
    for (size_t i = 0; status == LW_OK && i < ladder->tap_count; i++) {
        status = fill_tap(plan, i + 1, end, &ladder->taps[i], error);
    }
    for (size_t i = 0; status == LW_OK && i < ladder->source_count; i++) {
        status = fill_source(plan, &supplies[i], end, &ladder->sources[i], error);
    }
    if (status != LW_OK) {
        lw_ladder_free(ladder);
        return status;
    }
    fill_cuts_and_bonds(plan, ladder);
    return LW_OK;
}

void lw_ladder_free(struct lw_ladder *ladder)
{
    if (ladder) {
        free(ladder->taps);
        free(ladder->sources);
        free(ladder->bonds);
        *ladder = (struct lw_ladder){0};
    }
}
