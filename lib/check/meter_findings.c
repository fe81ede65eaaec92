// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a hand meter's values mean. A value that fits another chain than the planned one says which.
#include "check/meter.h"

#include "base/clock.h"
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"

#include <math.h>
#include <string.h>

struct judged {
    const struct lw_plan *plan;
    const struct lw_meter_step *step;
    const struct lw_meter_reading *reading;
    const struct lw_meter_instrument *instrument;
    struct lw_findings *findings;
};

static const char *const codes[] = {
    [LW_METER_DEAD] = "meter_live",         [LW_METER_TIPS] = "meter_value",
    [LW_METER_RAILS] = "meter_short",       [LW_METER_LEAD] = "meter_polarity",
    [LW_METER_PAIR] = "meter_pair",         [LW_METER_D1_ZERO] = "meter_pair_zero",
    [LW_METER_D0_ZERO] = "meter_pair_zero", [LW_METER_SHIELD] = "meter_pair_zero",
    [LW_METER_BOND] = "meter_bond",         [LW_METER_BOND_OPEN] = "meter_second_bond",
    [LW_METER_FUSE] = "meter_fuse",         [LW_METER_SUPPLY] = "meter_supply",
    [LW_METER_DRAW] = "meter_draw",         [LW_METER_TAP] = "meter_volts",
    [LW_METER_IDLE] = "meter_idle",         [LW_METER_FRAME_V] = "meter_frame",
};

static void shown(const struct lw_meter_reading *reading, char *text, size_t size)
{
    char number[LW_NUMBER_TEXT];
    lw_number_for_people(reading->value, reading->uncertainty, number);
    lw_print(text, size, "%s %s", number, lw_unit_shown(reading->unit, true));
}

static void add_because(const struct judged *judged, struct lw_finding *finding)
{
    const struct lw_meter_reading *reading = judged->reading;
    const char *unit = lw_unit_shown(reading->unit, true);
    char low[LW_NUMBER_TEXT], high[LW_NUMBER_TEXT];
    lw_number_for_people(reading->low, NAN, low);
    lw_number_for_people(reading->high, NAN, high);
    if (isfinite(reading->low) && isfinite(reading->high)) {
        lw_finding_because(judged->findings, finding, "allowed are %s to %s %s", low, high, unit);
    } else if (isfinite(reading->low) || isfinite(reading->high)) {
        lw_finding_because(judged->findings, finding,
                           isfinite(reading->low) ? N_("allowed are %s %s and more")
                                                  : N_("allowed are %s %s and less"),
                           isfinite(reading->low) ? low : high, unit);
    }
    if (isfinite(reading->expected_low) && isfinite(reading->expected_high)) {
        lw_number_for_people(reading->expected_low, NAN, low);
        lw_number_for_people(reading->expected_high, NAN, high);
        lw_finding_because(judged->findings, finding, "the plan lets expect %s to %s %s", low, high,
                           unit);
    }
}

static bool in_band(const struct lw_meter_band *band, double value)
{
    return (isnan(band->low) || value >= band->low) && (isnan(band->high) || value <= band->high);
}

// One terminator less, one more: what else a pair's resistance would fit.
static void guess_pair(const struct judged *judged, struct lw_finding *finding)
{
    struct lw_meter_band band;
    double value = judged->reading->value;
    size_t tap = judged->step->tap;
    if (judged->reading->open) {
        lw_finding_because(judged->findings, finding,
                           "open: no terminator is reached from here, or the pair is broken");
    } else if (value < LW_METER_CONTINUITY_OHM) {
        lw_finding_because(judged->findings, finding, "D1 and D0 are shorted");
    } else if (lw_meter_pair_band_if(judged->plan, tap, -1, &band) && in_band(&band, value)) {
        lw_finding_because(judged->findings, finding,
                           "it fits one terminator less, or a pair that is broken on the way");
    } else if (lw_meter_pair_band_if(judged->plan, tap, 1, &band) && in_band(&band, value)) {
        lw_finding_because(judged->findings, finding, "it fits one terminator more");
    }
}

static void guess_sign(const struct judged *judged, struct lw_finding *finding)
{
    if (judged->reading->value < 0) {
        lw_finding_because(judged->findings, finding,
                           judged->step->kind == LW_METER_IDLE
                               ? N_("it is negative: D1 and D0 are swapped, or the tips")
                               : N_("it is negative: V+ and 0 V are swapped, or the tips"));
    }
}

static struct lw_finding *say(const struct judged *judged)
{
    const struct lw_meter_reading *reading = judged->reading;
    enum lw_verdict verdict = (enum lw_verdict)reading->verdict;
    const char *code = codes[judged->step->kind];
    char text[80];
    if (reading->open) {
        return lw_findings_add(judged->findings, code, verdict,
                               "%s: from %s to %s the meter shows open", reading->at, reading->from,
                               reading->to);
    }
    shown(reading, text, sizeof text);
    if (reading->read) {
        return lw_findings_add(judged->findings, code, verdict, "%s: the fuse is marked %s",
                               reading->at, text);
    }
    if (reading->to[0] == '\0') {
        return lw_findings_add(judged->findings, code, verdict, "%s: the meter shows %s",
                               reading->at, text);
    }
    return lw_findings_add(judged->findings, code, verdict, "%s: from %s to %s the meter shows %s",
                           reading->at, reading->from, reading->to, text);
}

static void fill(const struct judged *judged, struct lw_finding *finding)
{
    const struct lw_meter_reading *reading = judged->reading;
    const struct lw_chain_entry *entry =
        reading->tap > 0 ? lw_plan_tap(judged->plan, (size_t)reading->tap) : NULL;
    if (entry != NULL && entry->node != NULL) {
        lw_finding_node(judged->findings, finding, entry->node, (size_t)reading->tap,
                        entry->address);
    } else {
        lw_finding_about(judged->findings, finding, reading->at);
    }
    if (finding == NULL) {
        return;
    }
    bool differs = reading->verdict == (int)LW_ATTENTION && !reading->read;
    double low = differs ? reading->expected_low : reading->low;
    double high = differs ? reading->expected_high : reading->high;
    bool over = isfinite(high) && !(reading->value < high);
    finding->value = reading->value;
    finding->limit = over ? high : low;
    finding->uncertainty = reading->uncertainty;
    finding->unit = lw_duplicate(reading->unit);
    finding->instrument = lw_duplicate(judged->instrument->name);
}

static void judge_reading(const struct judged *judged)
{
    enum lw_verdict verdict = (enum lw_verdict)judged->reading->verdict;
    if (verdict == LW_PASS || verdict == LW_NOT_TESTED) {
        return;
    }
    struct lw_finding *finding = say(judged);
    fill(judged, finding);
    add_because(judged, finding);
    if (judged->step->kind == LW_METER_PAIR) {
        guess_pair(judged, finding);
    }
    if (lw_meter_power_on(judged->step->kind)) {
        guess_sign(judged, finding);
    }
    if (verdict == LW_UNDECIDED) {
        lw_finding_because(judged->findings, finding,
                           "the meter's own uncertainty reaches over the limit: a more accurate "
                           "one would decide");
    }
}

static void find_left(const struct lw_meter_result *result, struct lw_findings *findings)
{
    const struct lw_meter_reading *readings = result->readings.items;
    size_t left = 0;
    for (size_t i = 0; i < result->readings.count; i++) {
        left += readings[i].left && strncmp(readings[i].id, "off.fuse", 8) != 0;
    }
    if (left > 0) {
        struct lw_finding *finding =
            lw_findings_add(findings, "meter_left", LW_ATTENTION, "%zu of %zu values were left out",
                            left, result->readings.count);
        for (size_t i = 0; i < result->readings.count; i++) {
            if (readings[i].left && strncmp(readings[i].id, "off.fuse", 8) != 0) {
                lw_finding_because(findings, finding, "left out: %s", readings[i].id);
            }
        }
    }
}

static void find_earth(const struct lw_meter_result *result, struct lw_findings *findings)
{
    if (result->earth_left) {
        lw_findings_add(findings, "meter_earth_left", LW_ATTENTION,
                        "the protective conductor was not tested here");
    }
}

static void find_instrument(const struct lw_meter_result *result, int64_t today,
                            struct lw_findings *findings)
{
    const struct lw_meter_instrument *instrument = &result->instrument;
    int64_t due_utc_ns = 0;
    struct lw_finding *finding = NULL;
    if (instrument->name == NULL) {
        return;
    }
    if (instrument->due_on == NULL) {
        finding = lw_findings_add(findings, "meter_instrument_due", LW_ATTENTION,
                                  "%s has no certificate", instrument->name);
    } else if (lw_time_parse(instrument->due_on, &due_utc_ns) == 0 &&
               lw_time_days(due_utc_ns) < today) {
        finding = lw_findings_add(findings, "meter_instrument_due", LW_ATTENTION,
                                  "the certificate of %s has run out on %s", instrument->name,
                                  instrument->due_on);
    }
    if (finding != NULL) {
        lw_finding_about(findings, finding, instrument->name);
    }
}

static void find_bonds(const struct lw_plan *plan, struct lw_findings *findings)
{
    if (plan->zero_v_bonds.count > 1) {
        lw_findings_add(findings, "meter_second_bond", LW_ATTENTION,
                        "the plan bonds 0 V to the frame at %zu places", plan->zero_v_bonds.count);
    }
}

static const struct lw_meter_step *step_of(const struct lw_plan *plan, const struct lw_list *steps,
                                           const char *id)
{
    struct lw_meter_words words;
    const struct lw_meter_step *all = steps->items;
    for (size_t i = 0; i < steps->count; i++) {
        lw_meter_words(plan, &all[i], &words);
        if (strcmp(words.id, id) == 0) {
            return &all[i];
        }
    }
    return NULL;
}

void lw_meter_findings(const struct lw_plan *plan, const struct lw_list *steps,
                       const struct lw_meter_result *result, int64_t today,
                       struct lw_findings *findings)
{
    const struct lw_meter_reading *readings = result->readings.items;
    for (size_t i = 0; i < result->readings.count; i++) {
        const struct judged judged = {plan, step_of(plan, steps, readings[i].id), &readings[i],
                                      &result->instrument, findings};
        if (judged.step != NULL) {
            judge_reading(&judged);
        }
    }
    find_bonds(plan, findings);
    find_left(result, findings);
    find_earth(result, findings);
    find_instrument(result, today, findings);
}
