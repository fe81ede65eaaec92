// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which steps a plan gives reason for, and what one value says.
#include "check/meter.h"

#include "base/text.h"
#include "base/words.h"
#include "stats/decide.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { REPEATER = 1, AT_SUPPLY = 0 };

struct kind {
    const char *id, *from, *to, *unit;
};

static const struct kind kinds[] = {
    [LW_METER_DEAD] = {"off.dead", "V+", "0V", "V"},
    [LW_METER_TIPS] = {"off.tips", "", "", "ohm"},
    [LW_METER_RAILS] = {"off.rails", "V+", "0V", "ohm"},
    [LW_METER_LEAD] = {"off.lead", "V+", "V+", "ohm"},
    [LW_METER_PAIR] = {"off.pair", "D1", "D0", "ohm"},
    [LW_METER_D1_ZERO] = {"off.d1_zero", "D1", "0V", "ohm"},
    [LW_METER_D0_ZERO] = {"off.d0_zero", "D0", "0V", "ohm"},
    [LW_METER_SHIELD] = {"off.shield", "D1", "shield", "ohm"},
    [LW_METER_BOND] = {"off.bond", "0V", "frame", "ohm"},
    [LW_METER_BOND_OPEN] = {"off.bond_open", "0V", "frame", "ohm"},
    [LW_METER_FUSE] = {"off.fuse", "V+", "", "A"},
    [LW_METER_SUPPLY] = {"on.supply", "V+", "0V", "V"},
    [LW_METER_DRAW] = {"on.draw", "V+", "", "A"},
    [LW_METER_TAP] = {"on.tap", "V+", "0V", "V"},
    [LW_METER_IDLE] = {"on.idle", "D1", "D0", "V"},
    [LW_METER_FRAME_V] = {"on.frame", "0V", "frame", "V"},
};

bool lw_meter_power_on(enum lw_meter_kind kind)
{
    return kind >= LW_METER_SUPPLY;
}

static const char *supply_name(const struct lw_plan *plan, size_t index)
{
    return ((const struct lw_supply *)plan->supplies.items)[index].name;
}

static void name_fed_tap(const struct lw_plan *plan, size_t supply, char *text, size_t size)
{
    int tap = ((const struct lw_supply *)plan->supplies.items)[supply].feeds_tap;
    const char *node = lw_plan_tap(plan, (size_t)tap)->node;
    if (node != NULL) {
        snprintf(text, size, "V+@%s", node);
    } else {
        snprintf(text, size, "V+@%d", tap);
    }
}

void lw_meter_words(const struct lw_plan *plan, const struct lw_meter_step *step,
                    struct lw_meter_words *words)
{
    const struct kind *kind = &kinds[step->kind];
    *words = (struct lw_meter_words){.from = kind->from, .unit = kind->unit};
    lw_copy(words->to, sizeof words->to, kind->to);
    const struct lw_chain_entry *entry = step->tap > 0 ? lw_plan_tap(plan, step->tap) : NULL;
    if (step->kind == LW_METER_TIPS) {
        lw_copy(words->id, sizeof words->id, kind->id);
    } else if (entry != NULL && entry->node != NULL) {
        lw_copy(words->at, sizeof words->at, entry->node);
    } else if (entry != NULL) {
        snprintf(words->at, sizeof words->at, "%zu", step->tap);
    } else if (supply_name(plan, step->supply) != NULL) {
        lw_copy(words->at, sizeof words->at, supply_name(plan, step->supply));
    } else {
        snprintf(words->at, sizeof words->at, "supply %zu", step->supply + 1);
    }
    if (step->kind == LW_METER_LEAD) {
        name_fed_tap(plan, step->supply, words->to, sizeof words->to);
    }
    if (step->kind != LW_METER_TIPS) {
        snprintf(words->id, sizeof words->id, "%s.%s", kind->id, words->at);
    }
}

// The steps under way; memory that ran out is said once, at the end.
struct making {
    const struct lw_plan *plan;
    struct lw_list *steps;
    bool failed;
};

static void add(struct making *making, enum lw_meter_kind kind, size_t tap, size_t supply,
                struct lw_meter_band band)
{
    struct lw_meter_step *step = lw_list_add(making->steps, sizeof *step);
    if (step == NULL) {
        making->failed = true;
        return;
    }
    *step = (struct lw_meter_step){kind, tap, supply, band};
}

static bool begins_pair(const struct lw_plan *plan, size_t tap)
{
    return tap == 1 || lw_plan_tap(plan, tap)->passive >= REPEATER;
}

// A break in the pair shows at one end only, so each stretch of it is measured at both.
static void add_pairs(struct making *making)
{
    const struct lw_plan *plan = making->plan;
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        bool first = begins_pair(plan, tap);
        bool last = tap == lw_plan_taps(plan) || begins_pair(plan, tap + 1);
        if (first || last) {
            add(making, LW_METER_PAIR, tap, 0, lw_meter_pair_band(plan, tap));
        }
        if (first) {
            struct lw_meter_band shield = lw_meter_pair_zero_band(plan, tap, true);
            add(making, LW_METER_D1_ZERO, tap, 0, shield);
            add(making, LW_METER_D0_ZERO, tap, 0, lw_meter_pair_zero_band(plan, tap, false));
            shield.high = NAN; // the shield may be bonded to 0 V or not
            add(making, LW_METER_SHIELD, tap, 0, shield);
        }
    }
}

static void add_bond(struct making *making)
{
    const struct lw_plan *plan = making->plan;
    const struct lw_zero_v_bond *bond = plan->zero_v_bonds.items;
    struct lw_meter_band closed = {NAN, LW_METER_CONTINUITY_OHM, NAN, NAN},
                         open = {LW_METER_OPEN_OHM, NAN, NAN, NAN};
    if (plan->zero_v_bonds.count == 0) {
        return;
    }
    closed.high += bond->ohm;
    add(making, LW_METER_BOND, lw_plan_at(plan, bond->at), 0, closed);
    if (plan->zero_v_bonds.count == 1) {
        add(making, LW_METER_BOND_OPEN, lw_plan_at(plan, bond->at), 0, open);
    }
}

static void add_power_off(struct making *making, struct lw_error *error)
{
    const struct lw_plan *plan = making->plan;
    const struct lw_meter_band dead = {-LW_METER_DEAD_V, LW_METER_DEAD_V, NAN, NAN},
                               tips = {NAN, NAN, NAN, NAN};
    add(making, LW_METER_DEAD, 1, 0, dead);
    add(making, LW_METER_TIPS, 1, 0, tips);
    add(making, LW_METER_RAILS, 1, 0, lw_meter_rails_band(plan, error));
    for (size_t i = 0; i < plan->supplies.count; i++) {
        add(making, LW_METER_LEAD, AT_SUPPLY, i, lw_meter_lead_band(plan, i, error));
    }
    add_pairs(making);
    add_bond(making);
    for (size_t i = 0; i < plan->supplies.count; i++) {
        add(making, LW_METER_FUSE, AT_SUPPLY, i, lw_meter_fuse_band(plan, i, error));
    }
}

static size_t lowest_tap(const struct lw_meter_volts *volts)
{
    size_t lowest = 0;
    for (size_t i = 1; i < volts->taps; i++) {
        lowest = volts->lowest_v[i] < volts->lowest_v[lowest] ? i : lowest;
    }
    return lowest + 1;
}

static void add_power_on(struct making *making, const struct lw_meter_volts *volts,
                         const bool *selected)
{
    const struct lw_plan *plan = making->plan;
    size_t taps = lw_plan_taps(plan), lowest = lowest_tap(volts);
    for (size_t i = 0; i < plan->supplies.count; i++) {
        add(making, LW_METER_SUPPLY, AT_SUPPLY, i, lw_meter_supply_band(plan, i));
        add(making, LW_METER_DRAW, AT_SUPPLY, i, lw_meter_draw_band(plan, volts, i));
    }
    for (size_t tap = 1; tap <= taps; tap++) {
        if (tap == 1 || tap == taps || tap == lowest || (selected != NULL && selected[tap - 1])) {
            add(making, LW_METER_TAP, tap, 0, lw_meter_tap_band(plan, volts, tap));
        }
    }
    for (size_t tap = 1; tap <= taps; tap++) {
        if (begins_pair(plan, tap)) {
            add(making, LW_METER_IDLE, tap, 0, lw_meter_idle_band(plan, tap));
        }
    }
    add(making, LW_METER_FRAME_V, taps, 0, lw_meter_rise_band(plan, volts, taps));
}

// What the plan cannot tell is not expected.
static void forget(struct lw_meter_volts *volts)
{
    for (size_t i = 0; i < 3 * volts->taps + 2 * volts->supplies; i++) {
        volts->lowest_v[i] = NAN;
    }
}

enum lw_status lw_meter_steps(const struct lw_plan *plan, const bool *selected,
                              struct lw_list *steps, struct lw_error *error)
{
    struct making making = {.plan = plan, .steps = steps};
    struct lw_meter_volts volts;
    struct lw_error unknown = {0};
    enum lw_status status = lw_meter_volts_init(plan, &volts, &unknown);
    if (volts.lowest_v != NULL) {
        if (status != LW_OK) {
            forget(&volts);
        }
        add_power_off(&making, &unknown);
        add_power_on(&making, &volts, selected);
    }
    making.failed |= volts.lowest_v == NULL || status == LW_MEMORY;
    lw_meter_volts_finish(&volts);
    return making.failed ? lw_fail(error, LW_MEMORY, "no memory for the meter's steps") : LW_OK;
}

double lw_meter_uncertainty(const struct lw_meter_instrument *instrument, const char *unit,
                            double value)
{
    double pct = instrument->volt_pct, fixed = instrument->volt_fixed;
    if (strcmp(unit, "ohm") == 0) {
        pct = instrument->ohm_pct;
        fixed = instrument->ohm_fixed;
    } else if (strcmp(unit, "A") == 0) {
        pct = instrument->amp_pct;
        fixed = instrument->amp_fixed;
    }
    return isfinite(value) ? (pct / 100 * fabs(value) + fixed) / sqrt(3) : NAN;
}

static enum lw_verdict below(double value, double uncertainty, double limit)
{
    static const enum lw_verdict verdicts[] = {
        [LW_LIMIT_OPEN] = LW_UNDECIDED, [LW_LIMIT_KEPT] = LW_PASS, [LW_LIMIT_BROKEN] = LW_FAIL};
    struct lw_decided decided;
    if (isinf(value)) {
        return value < 0 ? LW_PASS : LW_FAIL;
    }
    enum lw_status status = lw_decide_value(value, uncertainty, INFINITY, limit, 1, &decided, NULL);
    return status == LW_OK ? verdicts[decided.decision] : LW_UNDECIDED;
}

static enum lw_verdict within(double low, double high, double value, double uncertainty)
{
    enum lw_verdict verdict = LW_PASS;
    if (isfinite(low)) {
        verdict = lw_verdict_worse(verdict, below(-value, uncertainty, -low));
    }
    if (isfinite(high)) {
        verdict = lw_verdict_worse(verdict, below(value, uncertainty, high));
    }
    return verdict;
}

enum lw_verdict lw_meter_judge(const struct lw_meter_band *band, double value, double uncertainty)
{
    bool banded = isfinite(band->low) || isfinite(band->high);
    bool expected = isfinite(band->expected_low) || isfinite(band->expected_high);
    if (isnan(value) || (!banded && !expected)) {
        return LW_NOT_TESTED;
    }
    enum lw_verdict verdict = within(band->low, band->high, value, uncertainty);
    bool differs = within(band->expected_low, band->expected_high, value, uncertainty) == LW_FAIL;
    return verdict == LW_PASS && differs ? LW_ATTENTION : verdict;
}

// The leads' own resistance is no part of what is measured.
static double without_tips(const struct lw_meter_result *result, const struct lw_meter_step *step,
                           double value)
{
    const double places = 1e9; // more than anybody types
    bool ohms = strcmp(kinds[step->kind].unit, "ohm") == 0 && step->kind != LW_METER_TIPS;
    return ohms && isfinite(value) && isfinite(result->tips_ohm)
               ? round(fmax(value - result->tips_ohm, 0) * places) / places
               : value;
}

// A fuse of the wrong size is a remark: it blows early, or late.
static enum lw_verdict milder(enum lw_verdict verdict)
{
    return verdict == LW_FAIL ? LW_ATTENTION : verdict;
}

enum lw_status lw_meter_take(const struct lw_plan *plan, const struct lw_meter_step *step,
                             double value, struct lw_meter_result *result, struct lw_error *error)
{
    struct lw_meter_words words;
    struct lw_meter_reading *reading = lw_list_add(&result->readings, sizeof *reading);
    if (reading == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a reading");
    }
    lw_meter_words(plan, step, &words);
    double net = without_tips(result, step, value);
    bool read = step->kind == LW_METER_FUSE;
    *reading = (struct lw_meter_reading){
        .id = lw_duplicate(words.id),
        .at = lw_duplicate(words.at),
        .from = lw_duplicate(words.from),
        .to = lw_duplicate(words.to),
        .unit = lw_duplicate(words.unit),
        .tap = (int)step->tap,
        .open = isinf(net),
        .left = isnan(net),
        .read = read,
        .value = isfinite(net) ? net : NAN,
        .low = step->band.low,
        .high = step->band.high,
        .expected_low = step->band.expected_low,
        .expected_high = step->band.expected_high,
        .uncertainty = read ? 0 : lw_meter_uncertainty(&result->instrument, words.unit, net),
    };
    enum lw_verdict verdict = lw_meter_judge(&step->band, net, reading->uncertainty);
    reading->verdict = (int)(read ? milder(verdict) : verdict);
    if (step->kind == LW_METER_TIPS) {
        result->tips_ohm = isfinite(value) ? value : NAN;
    }
    return LW_OK;
}
