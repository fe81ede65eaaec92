// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a comparison says: its JSON shape and its findings.
#include "base/number.h"
#include "base/text.h"
#include "check/compare.h"

#include <math.h>

static const char *const what_words[] = {"supply", "noise", "errors", NULL};
static const char *const outcome_words[] = {"same", "moved", "worse", NULL};

static const struct lw_field row_fields[] = {
    {LW_AT(struct lw_compare_row, node), .kind = LW_TEXT, .required = true,
     .says = "name in the plan"},
    {LW_AT(struct lw_compare_row, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_compare_row, what), .kind = LW_CHOICE, .names = what_words,
     .says = "volts at the node, spread of its readings, errors a poll"},
    {LW_AT(struct lw_compare_row, unit), .kind = LW_TEXT, .says = "of the values"},
    {LW_AT(struct lw_compare_row, before), .kind = LW_NUMBER, .nullable = true,
     .says = "on the earlier visit"},
    {LW_AT(struct lw_compare_row, now), .kind = LW_NUMBER, .nullable = true,
     .says = "on this visit"},
    {LW_AT(struct lw_compare_row, change), .kind = LW_NUMBER, .nullable = true,
     .says = "now less before"},
    {LW_AT(struct lw_compare_row, change_low), .kind = LW_NUMBER, .nullable = true,
     .says = "its lower bound, 95 % for all rows together"},
    {LW_AT(struct lw_compare_row, change_high), .kind = LW_NUMBER, .nullable = true,
     .says = "its upper bound"},
    {LW_AT(struct lw_compare_row, outcome), .kind = LW_CHOICE, .names = outcome_words,
     .says = "same: not proved to have moved; worse: proved, and enough to matter"},
    {LW_AT(struct lw_compare_row, other_serial), .kind = LW_BOOLEAN,
     .says = "another node stands there now"},
    {0},
};
static const struct lw_shape row_shape = {
    .name = "compare_row", .size = sizeof(struct lw_compare_row), .fields = row_fields};

static const struct lw_field compare_fields[] = {
    {LW_AT(struct lw_compare_result, earlier_opened), .kind = LW_TEXT,
     .says = "when the earlier visit was opened"},
    {LW_AT(struct lw_compare_result, earlier_folder), .kind = LW_TEXT,
     .says = "the earlier visit's folder, as it was named"},
    {LW_AT(struct lw_compare_result, rows), .kind = LW_LIST, .sub = &row_shape,
     .says = "what both visits have measured"},
    {LW_AT(struct lw_compare_result, not_compared), .kind = LW_TEXTS,
     .says = "what could not be compared, and why"},
    {LW_AT(struct lw_compare_result, exchanged), .kind = LW_NUMBER,
     .says = "nodes with another serial than before"},
    {0},
};
const struct lw_shape lw_compare_shape = {
    .name = "compare", .size = sizeof(struct lw_compare_result), .fields = compare_fields};

const char *lw_compare_word(enum lw_compare_what what)
{
    return what_words[what];
}

// All nodes behind a bad joint lose volts: they are one finding, at the one that has lost most.
static void find_supply(const struct lw_compare_result *result, struct lw_findings *findings)
{
    const struct lw_compare_row *rows = result->rows.items, *most = NULL, *grown = NULL;
    char before[LW_NUMBER_TEXT], now[LW_NUMBER_TEXT];
    size_t count = 0;
    double step = 0;
    for (size_t i = 0; i < result->rows.count && rows[i].what == LW_COMPARE_SUPPLY; i++) {
        double further = i > 0 ? rows[i - 1].change - rows[i].change : 0;
        count += rows[i].outcome == LW_COMPARE_WORSE;
        most = most == NULL || rows[i].change < most->change ? &rows[i] : most;
        grown = further > step ? &rows[i] : grown;
        step = fmax(step, further);
    }
    if (count == 0) {
        return;
    }
    lw_number_for_people(most->before, 0.01, before);
    lw_number_for_people(most->now, 0.01, now);
    struct lw_finding *finding = lw_findings_add(
        findings, "compare_supply_lower", LW_ATTENTION,
        "%zu nodes have lost volts that matter, most of all %s: %s V before, %s V now", count,
        most->node, before, now);
    if (grown != NULL) {
        lw_finding_because(findings, finding,
                           "from %s to %s the loss grows most, by another %.2f V", grown[-1].node,
                           grown->node, step);
    }
    if (finding != NULL) {
        finding->value = most->change;
        finding->uncertainty = (most->change_high - most->change_low) / 4;
        finding->unit = lw_duplicate("V");
    }
    lw_finding_node(findings, finding, grown != NULL ? grown->node : most->node,
                    (size_t)(grown != NULL ? grown->tap : most->tap), 0);
}

// Of a spread or an error rate.
static void find_row(const struct lw_compare_row *row, struct lw_findings *findings)
{
    const char *code =
        row->what == LW_COMPARE_NOISE ? "compare_noise_grown" : "compare_errors_grown";
    char before[LW_NUMBER_TEXT], now[LW_NUMBER_TEXT], low[LW_NUMBER_TEXT], high[LW_NUMBER_TEXT];
    double resolution = (row->change_high - row->change_low) / 4;
    lw_number_for_people(row->before, resolution, before);
    lw_number_for_people(row->now, resolution, now);
    lw_number_for_people(row->change_low, resolution, low);
    lw_number_for_people(row->change_high, resolution, high);
    struct lw_finding *finding =
        row->what == LW_COMPARE_ERRORS
            ? lw_findings_add(findings, code, LW_ATTENTION, "%s: %s errors a poll before, %s now",
                              row->node, before, now)
            : lw_findings_add(findings, code, LW_ATTENTION, "%s: %s %s before, %s now", row->node,
                              before, row->unit, now);
    if (row->what == LW_COMPARE_ERRORS) {
        lw_finding_because(findings, finding, "the change lies between %s and %s a poll", low,
                           high);
    } else {
        lw_finding_because(findings, finding, "the change lies between %s and %s %s", low, high,
                           row->unit);
    }
    if (finding != NULL) {
        finding->value = row->change;
        finding->unit = lw_duplicate(row->unit);
        finding->uncertainty = (row->change_high - row->change_low) / 4;
    }
    lw_finding_node(findings, finding, row->node, (size_t)row->tap, 0);
}

void lw_compare_findings(const struct lw_compare_result *result, struct lw_findings *findings)
{
    const struct lw_compare_row *rows = result->rows.items;
    find_supply(result, findings);
    for (size_t i = 0; i < result->rows.count; i++) {
        if (rows[i].outcome == LW_COMPARE_WORSE && rows[i].what != LW_COMPARE_SUPPLY) {
            find_row(&rows[i], findings);
        }
    }
    if (result->rows.count == 0) {
        lw_findings_add(findings, "compare_nothing", LW_NOT_TESTED,
                        "the two visits share nothing that can be compared");
    }
    if (result->exchanged > 0) {
        lw_findings_add(findings, "compare_exchanged", LW_ATTENTION,
                        "%.0f nodes have another serial than on the earlier visit",
                        result->exchanged);
    }
}
