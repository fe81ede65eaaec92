// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bands of the hand meter. Where a plan says nothing the band is wider, never narrower.
#include "check/meter_bands.h"

#include "power/line_budget.h"

#include <math.h>
#include <stdlib.h>

enum { TERMINATORS = 16, REPEATER = 1 };

// AWG 24 solid, at 30 degC: 84.21 ohm/km (ASTM B258 with 1/58 ohm mm2/m) and 0.393 % a kelvin.
static const double pair_ohm_per_m = 0.08421 * 1.0393;

// The controller and the tester stay plugged: one unit load each.
static const double masters_unit_loads = 2;

static const struct lw_meter_band nothing = {NAN, NAN, NAN, NAN};

// The taps between two repeaters or isolators, from 1.
struct pair {
    size_t first, last;
    double unit_loads; // NAN: a profile does not say
    double threshold_v;
    double ohm[TERMINATORS];
    size_t tap[TERMINATORS], terminators;
    const struct lw_bias *bias; // NULL: not on this pair
};

static bool ends_pair(const struct lw_plan *plan, size_t tap)
{
    return lw_plan_tap(plan, tap)->passive >= REPEATER;
}

static void count_receivers(const struct lw_plan *plan, struct pair *pair)
{
    pair->unit_loads = masters_unit_loads;
    pair->threshold_v = -INFINITY;
    for (size_t tap = pair->first; tap <= pair->last; tap++) {
        const struct lw_profile *is = lw_plan_tap(plan, tap)->is;
        if (is != NULL) {
            const struct lw_list *window = &is->electrical.receiver_threshold_v;
            double own_v = window->count == 2 ? ((const double *)window->items)[1] : LW_THRESHOLD_V;
            pair->unit_loads += is->electrical.unit_loads;
            pair->threshold_v = fmax(pair->threshold_v, own_v);
        }
    }
}

static void find_pair(const struct lw_plan *plan, size_t tap, struct pair *pair)
{
    *pair = (struct pair){.first = tap, .last = tap};
    while (pair->first > 1 && !ends_pair(plan, pair->first)) {
        pair->first--;
    }
    while (pair->last < lw_plan_taps(plan) && !ends_pair(plan, pair->last + 1)) {
        pair->last++;
    }
    count_receivers(plan, pair);
    const struct lw_termination *all = plan->line.terminations.items;
    for (size_t i = 0; i < plan->line.terminations.count && pair->terminators < TERMINATORS; i++) {
        size_t at = lw_plan_at(plan, all[i].at);
        if (at >= pair->first && at <= pair->last) {
            pair->tap[pair->terminators] = at;
            pair->ohm[pair->terminators++] = all[i].ohm;
        }
    }
    const struct lw_bias *bias = plan->line.bias;
    size_t at = bias != NULL ? lw_plan_at(plan, bias->at) : 0;
    pair->bias = at >= pair->first && at <= pair->last ? bias : NULL;
}

static double beside(double a_ohm, double b_ohm)
{
    return 1.0 / (1.0 / a_ohm + 1.0 / b_ohm);
}

double lw_meter_pair_ohm(const double *terminator_ohm, const double *loop_ohm, size_t taps,
                         size_t at)
{
    double behind = INFINITY, before = INFINITY;
    for (size_t tap = taps; tap > at + 1; tap--) {
        behind = beside(behind, terminator_ohm[tap - 1]) + loop_ohm[tap - 1];
    }
    for (size_t tap = 0; tap < at; tap++) {
        before = beside(before, terminator_ohm[tap]) + loop_ohm[tap + 1];
    }
    return beside(beside(before, behind), terminator_ohm[at]);
}

// With the pair's own terminators times `factor`, nothing else beside them, AWG 24 between.
static double bare_ohm(const struct lw_plan *plan, const struct pair *pair, size_t tap,
                       double factor)
{
    size_t taps = pair->last - pair->first + 1;
    double *ohm = calloc(2 * taps, sizeof *ohm), seen = NAN;
    if (ohm == NULL) {
        return NAN;
    }
    double *loop = ohm + taps;
    for (size_t i = 0; i < taps; i++) {
        const struct lw_span_spec *own = lw_plan_tap(plan, pair->first + i)->span;
        bool has_own = own != NULL && isfinite(own->length_m);
        double length_m = has_own ? own->length_m : plan->span_default.length_m;
        ohm[i] = INFINITY;
        loop[i] = isfinite(length_m) ? 2 * length_m * pair_ohm_per_m : 0;
    }
    for (size_t i = 0; i < pair->terminators; i++) {
        double *here = &ohm[pair->tap[i] - pair->first];
        *here = beside(*here, pair->ohm[i] * factor);
    }
    seen = lw_meter_pair_ohm(ohm, loop, taps, tap - pair->first);
    free(ohm);
    return seen;
}

// The pair as lib/power counts it, all resistors times `factor`.
static void load_of(const struct pair *pair, double unit_loads, double resistors, double bias,
                    struct lw_line_load *load)
{
    double ohm[TERMINATORS];
    struct lw_segment segment = {.unit_loads = unit_loads, .terminator_ohm = ohm};
    for (size_t i = 0; i < pair->terminators; i++) {
        ohm[i] = pair->ohm[i] * resistors;
    }
    segment.terminator_count = pair->terminators;
    if (pair->bias != NULL) {
        segment.bias_supply_v = pair->bias->supply_v;
        segment.pull_up_ohm = pair->bias->pull_up_ohm * bias;
        segment.pull_down_ohm = pair->bias->pull_down_ohm * bias;
    }
    lw_line_load(&segment, pair->threshold_v, load);
}

static const double low_share = 1 - LW_METER_RESISTOR_SHARE,
                    high_share = 1 + LW_METER_RESISTOR_SHARE;

static struct lw_meter_band band_of_pair(const struct lw_plan *plan, const struct pair *pair,
                                         size_t tap)
{
    struct lw_meter_band band = nothing;
    struct lw_line_load load;
    if (isfinite(pair->unit_loads)) {
        load_of(pair, pair->unit_loads, low_share, low_share, &load);
        band.low = load.driver_ohm;
    }
    if (pair->terminators > 0) {
        band.high = bare_ohm(plan, pair, tap, high_share);
    }
    return band;
}

struct lw_meter_band lw_meter_pair_band(const struct lw_plan *plan, size_t tap)
{
    struct pair pair;
    find_pair(plan, tap, &pair);
    return band_of_pair(plan, &pair, tap);
}

bool lw_meter_pair_band_if(const struct lw_plan *plan, size_t tap, int terminators,
                           struct lw_meter_band *band)
{
    struct pair pair;
    find_pair(plan, tap, &pair);
    if (pair.terminators == 0 || (int)pair.terminators + terminators < 1 ||
        (int)pair.terminators + terminators > TERMINATORS) {
        return false;
    }
    for (int i = 0; i < terminators; i++) {
        pair.ohm[pair.terminators] = pair.ohm[0];
        pair.tap[pair.terminators++] = tap;
    }
    pair.terminators -= terminators < 0 ? (size_t)-terminators : 0;
    *band = band_of_pair(plan, &pair, tap);
    return true;
}

struct lw_meter_band lw_meter_pair_zero_band(const struct lw_plan *plan, size_t tap, bool d1)
{
    struct pair pair;
    struct lw_meter_band band = nothing;
    find_pair(plan, tap, &pair);
    if (isfinite(pair.unit_loads)) {
        // Each input has its receivers' resistance to 0 V; the pull-up's far end is as good as 0 V.
        double input_s = pair.unit_loads / LW_UNIT_LOAD_OHM, across_s = 0;
        double up_s = pair.bias != NULL ? 1 / (pair.bias->pull_up_ohm * low_share) : 0;
        double down_s = pair.bias != NULL ? 1 / (pair.bias->pull_down_ohm * low_share) : 0;
        for (size_t i = 0; i < pair.terminators; i++) {
            across_s += 1 / (pair.ohm[i] * low_share);
        }
        double own_s = input_s + (d1 ? up_s : down_s), other_s = input_s + (d1 ? down_s : up_s);
        double way_s = across_s > 0 ? across_s * other_s / (across_s + other_s) : 0;
        band.low = 1 / (own_s + way_s);
    }
    if (pair.bias != NULL && (!d1 || pair.terminators > 0)) {
        band.high = pair.bias->pull_down_ohm * high_share +
                    (pair.terminators > 0 ? bare_ohm(plan, &pair, tap, high_share) : 0);
    }
    return band;
}

struct lw_meter_band lw_meter_idle_band(const struct lw_plan *plan, size_t tap)
{
    struct pair pair;
    struct lw_meter_band band = nothing;
    struct lw_line_load weak, strong;
    find_pair(plan, tap, &pair);
    if (pair.bias == NULL || !isfinite(pair.unit_loads)) {
        return band;
    }
    load_of(&pair, pair.unit_loads, low_share, high_share, &weak);
    load_of(&pair, 0, high_share, low_share, &strong);
    band.low = fmax(pair.threshold_v, 0);
    band.expected_low = weak.idle_v;
    band.expected_high = strong.idle_v;
    return band;
}

static const struct lw_supply *supply_at(const struct lw_plan *plan, size_t index)
{
    return &((const struct lw_supply *)plan->supplies.items)[index];
}

static double load_s(const struct lw_load *load, double volts)
{
    switch (load->kind) {
    case LW_LOAD_POWER:
        return load->value / (volts * volts);
    case LW_LOAD_CURRENT:
        return load->value / volts;
    case LW_LOAD_RESISTOR:
        return 1 / load->value;
    case LW_LOAD_NONE:
        break;
    }
    return 0;
}

struct lw_meter_band lw_meter_rails_band(const struct lw_plan *plan, struct lw_error *error)
{
    const double unknown_ohm = 10;
    struct lw_meter_band band = {.low = unknown_ohm, NAN, NAN, NAN};
    struct lw_ladder ladder;
    if (plan->supplies.count == 0 ||
        lw_plan_ladder(plan, LW_LADDER_WORST, &ladder, error) != LW_OK) {
        return band;
    }
    double siemens = 0;
    for (size_t i = 0; i < ladder.tap_count; i++) {
        siemens += load_s(&ladder.taps[i].load, supply_at(plan, 0)->nominal_v);
    }
    band.low = siemens > 0 ? 1 / siemens : unknown_ohm;
    lw_ladder_free(&ladder);
    return band;
}

struct lw_meter_band lw_meter_lead_band(const struct lw_plan *plan, size_t supply,
                                        struct lw_error *error)
{
    struct lw_meter_band band = {NAN, LW_METER_CONTINUITY_OHM, NAN, NAN};
    struct lw_ladder ladder;
    if (lw_plan_ladder(plan, LW_LADDER_WORST, &ladder, error) == LW_OK) {
        band.high += ladder.sources[supply].zero_ohm;
        lw_ladder_free(&ladder);
    }
    return band;
}

struct lw_meter_band lw_meter_fuse_band(const struct lw_plan *plan, size_t supply,
                                        struct lw_error *error)
{
    const double fuse_share = 0.8;
    struct lw_meter_band band = nothing;
    struct lw_meter_volts volts;
    if (lw_meter_volts_init(plan, &volts, error) == LW_OK) {
        band.low = volts.highest_a[supply] / fuse_share;
    }
    lw_meter_volts_finish(&volts);
    band.high = plan->span_default.rated_a;
    for (size_t tap = 2; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_span_spec *own = lw_plan_tap(plan, tap)->span;
        band.high = own != NULL ? fmin(band.high, own->rated_a) : band.high;
    }
    return band;
}

static enum lw_status solve(const struct lw_plan *plan, enum lw_ladder_end end,
                            struct lw_ladder_path *path, struct lw_error *error)
{
    struct lw_ladder ladder;
    *path = (struct lw_ladder_path){0};
    enum lw_status status = lw_plan_ladder(plan, end, &ladder, error);
    if (status == LW_OK) {
        status = lw_ladder_check(&ladder, error);
        if (status == LW_OK) {
            status = lw_ladder_running(&ladder, path, error);
        }
        lw_ladder_free(&ladder);
    }
    return status;
}

// 0 V is counted from where it is bonded to the frame.
static double rise_at(const struct lw_plan *plan, const struct lw_point *point, size_t index)
{
    const struct lw_zero_v_bond *bond = plan->zero_v_bonds.items;
    double bond_v =
        plan->zero_v_bonds.count > 0 ? point->zero_v[lw_plan_at(plan, bond->at) - 1] : 0;
    return fabs(point->zero_v[index] - bond_v);
}

static void take_ends(const struct lw_plan *plan, const struct lw_point *worst,
                      const struct lw_point *best, struct lw_meter_volts *volts)
{
    for (size_t i = 0; i < volts->taps; i++) {
        volts->lowest_v[i] = worst->plus_v[i] - worst->zero_v[i];
        volts->highest_v[i] = best->plus_v[i] - best->zero_v[i];
        volts->rise_v[i] = fmax(rise_at(plan, worst, i), rise_at(plan, best, i));
    }
    for (size_t i = 0; i < volts->supplies; i++) {
        volts->lowest_a[i] = fmin(worst->source_a[i], best->source_a[i]);
        volts->highest_a[i] = fmax(worst->source_a[i], best->source_a[i]);
    }
}

enum lw_status lw_meter_volts_init(const struct lw_plan *plan, struct lw_meter_volts *volts,
                                   struct lw_error *error)
{
    size_t taps = lw_plan_taps(plan), supplies = plan->supplies.count;
    struct lw_ladder_path worst = {0}, best = {0};
    double *numbers = calloc(3 * taps + 2 * supplies, sizeof *numbers);
    *volts = (struct lw_meter_volts){.taps = taps, .supplies = supplies, .lowest_v = numbers};
    if (numbers == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu taps", taps);
    }
    volts->highest_v = numbers + taps;
    volts->rise_v = numbers + 2 * taps;
    volts->lowest_a = numbers + 3 * taps;
    volts->highest_a = volts->lowest_a + supplies;
    enum lw_status status = solve(plan, LW_LADDER_WORST, &worst, error);
    if (status == LW_OK) {
        status = solve(plan, LW_LADDER_BEST, &best, error);
    }
    if (status == LW_OK) {
        take_ends(plan, &worst.point, &best.point, volts);
    }
    lw_ladder_path_finish(&worst);
    lw_ladder_path_finish(&best);
    return status;
}

void lw_meter_volts_finish(struct lw_meter_volts *volts)
{
    free(volts->lowest_v);
    *volts = (struct lw_meter_volts){0};
}

struct lw_meter_band lw_meter_tap_band(const struct lw_plan *plan,
                                       const struct lw_meter_volts *volts, size_t tap)
{
    const struct lw_profile *is = lw_plan_tap(plan, tap)->is;
    struct lw_meter_band band = nothing;
    if (is != NULL) {
        band.low = is->electrical.minimum_v + lw_plan_limits(plan, tap).margin_v;
        band.high = is->electrical.maximum_v;
    }
    band.expected_low = volts->lowest_v[tap - 1];
    band.expected_high = volts->highest_v[tap - 1];
    return band;
}

struct lw_meter_band lw_meter_supply_band(const struct lw_plan *plan, size_t supply)
{
    const struct lw_supply *own = supply_at(plan, supply);
    double share = fmax(own->tolerance_pct / 100, LW_METER_SUPPLY_SHARE);
    return (struct lw_meter_band){own->nominal_v * (1 - share), own->nominal_v * (1 + share), NAN,
                                  NAN};
}

struct lw_meter_band lw_meter_draw_band(const struct lw_plan *plan,
                                        const struct lw_meter_volts *volts, size_t supply)
{
    double load_pct = lw_plan_limits(plan, 0).supply_load_pct;
    return (struct lw_meter_band){NAN, supply_at(plan, supply)->limit_a * load_pct / 100,
                                  volts->lowest_a[supply], volts->highest_a[supply]};
}

struct lw_meter_band lw_meter_rise_band(const struct lw_plan *plan,
                                        const struct lw_meter_volts *volts, size_t tap)
{
    double most_v = volts->rise_v[tap - 1] + LW_METER_FRAME_SPREAD_V;
    return plan->zero_v_bonds.count > 0 ? (struct lw_meter_band){-most_v, most_v, NAN, NAN}
                                        : nothing;
}
