// SPDX-License-Identifier: GPL-3.0-or-later
//
// Rows of silent nodes and what they share.
#include "check/silent.h"

#include "base/text.h"
#include "check/tap_names.h"

#include <stdlib.h>

enum { FEWEST_IN_A_ROW = 3, FEWEST_OF_A_PART = 2 };

struct silent {
    const struct lw_plan *plan;
    enum lw_silent_tap *taps;
    size_t *sections;
    bool *named; // of the row that is told
    const char *because;
    struct lw_findings *findings;
};

// Silent taps in a row; a passive tap does not end one.
struct row {
    size_t first, last, nodes;
    size_t before, after; // the nearest nodes on both sides; 0: none
};

static bool is_node(const struct silent *silent, size_t tap)
{
    return lw_plan_tap(silent->plan, tap)->node != NULL;
}

static size_t next_node(const struct silent *silent, size_t tap)
{
    do {
        tap++;
    } while (tap <= lw_plan_taps(silent->plan) && !is_node(silent, tap));
    return tap <= lw_plan_taps(silent->plan) ? tap : 0;
}

static bool is_silent(const struct silent *silent, size_t tap)
{
    return tap > 0 && silent->taps[tap - 1] == LW_TAP_SILENT;
}

static bool answers(const struct silent *silent, size_t tap)
{
    return tap > 0 && silent->taps[tap - 1] == LW_TAP_ANSWERS;
}

// The next row after `from`, a node or 0; false when there is none.
static bool next_row(const struct silent *silent, size_t from, struct row *row)
{
    size_t tap = next_node(silent, from);
    *row = (struct row){.before = from};
    while (tap > 0 && !is_silent(silent, tap)) {
        row->before = tap;
        tap = next_node(silent, tap);
    }
    for (row->first = tap; is_silent(silent, tap); tap = next_node(silent, tap)) {
        row->last = tap;
        row->nodes++;
    }
    row->after = tap;
    return row->nodes > 0;
}

static struct lw_finding *tell(const struct silent *silent, const struct row *row, const char *code,
                               const char *about, const char *says)
{
    const struct lw_chain_entry *first = lw_plan_tap(silent->plan, row->first);
    struct lw_finding *finding = lw_findings_add(silent->findings, code, LW_FAIL, "%s", says);
    lw_finding_node(silent->findings, finding, first->node, row->first, first->address);
    lw_finding_about(silent->findings, finding, about);
    if (silent->because != NULL) {
        lw_finding_because(silent->findings, finding, "%s", silent->because);
    }
    for (size_t tap = row->first; tap <= row->last; tap++) {
        if (is_silent(silent, tap)) {
            silent->taps[tap - 1] = LW_TAP_TOLD;
        }
    }
    return finding;
}

static void name_row(const struct silent *silent, const struct row *row, char *text, size_t size)
{
    for (size_t tap = 1; tap <= lw_plan_taps(silent->plan); tap++) {
        silent->named[tap - 1] = tap >= row->first && tap <= row->last && is_silent(silent, tap);
    }
    lw_tap_names(silent->plan, silent->named, text, size);
}

// The one supply of the section that begins and ends with the row; NULL when the row is no whole
// section, or several feed it.
static const struct lw_supply *supply_of(const struct silent *silent, const struct row *row)
{
    const size_t section = silent->sections[row->first - 1];
    if (silent->sections[row->last - 1] != section ||
        (row->before > 0 && silent->sections[row->before - 1] == section) ||
        (row->after > 0 && silent->sections[row->after - 1] == section)) {
        return NULL;
    }
    const struct lw_supply *supplies = silent->plan->supplies.items, *only = NULL;
    for (size_t i = 0; i < silent->plan->supplies.count; i++) {
        size_t tap = (size_t)supplies[i].feeds_tap;
        if (tap >= 1 && tap <= lw_plan_taps(silent->plan) && silent->sections[tap - 1] == section) {
            if (only != NULL) {
                return NULL;
            }
            only = &supplies[i];
        }
    }
    return only;
}

static void judge_row(const struct silent *silent, const struct row *row)
{
    char names[LW_SUBJECT], says[300];
    const struct lw_supply *supply = row->nodes >= FEWEST_OF_A_PART ? supply_of(silent, row) : NULL;
    const char *first = lw_plan_tap(silent->plan, row->first)->node;
    name_row(silent, row, names, sizeof names);
    if (supply != NULL) {
        lw_print(says, sizeof says, "none of the %zu nodes that %s feeds answers: %s", row->nodes,
                 supply->name, names);
        tell(silent, row, "line_silent_section", supply->name, says);
    } else if (row->nodes >= FEWEST_OF_A_PART && row->after == 0 && answers(silent, row->before)) {
        lw_print(says, sizeof says,
                 "%s and all nodes behind it, up to %s, do not answer (%zu nodes)", first,
                 lw_plan_tap(silent->plan, row->last)->node, row->nodes);
        tell(silent, row, "line_silent_from", first, says);
    } else if (row->nodes >= FEWEST_IN_A_ROW) {
        lw_print(says, sizeof says, "%zu nodes in a row do not answer: %s", row->nodes, names);
        tell(silent, row, "line_silent_row", names, says);
    }
}

static size_t count(const struct silent *silent, enum lw_silent_tap wanted)
{
    size_t found = 0;
    for (size_t i = 0; i < lw_plan_taps(silent->plan); i++) {
        found += silent->taps[i] == wanted;
    }
    return found;
}

static void judge(const struct silent *silent)
{
    size_t nodes = count(silent, LW_TAP_SILENT);
    struct row row;
    lw_plan_sections(silent->plan, silent->sections);
    if (nodes >= FEWEST_OF_A_PART && count(silent, LW_TAP_ANSWERS) == 0 &&
        next_row(silent, 0, &row)) {
        char says[80];
        row.last = lw_plan_taps(silent->plan);
        lw_print(says, sizeof says, "none of the %zu nodes that were asked answers", nodes);
        tell(silent, &row, "line_silent_all", lw_plan_tap(silent->plan, row.first)->node, says);
        return;
    }
    for (size_t from = 0; next_row(silent, from, &row); from = row.last) {
        judge_row(silent, &row);
    }
}

void lw_silent_findings(const struct lw_plan *plan, enum lw_silent_tap *taps, const char *because,
                        struct lw_findings *findings)
{
    struct silent silent = {.plan = plan,
                            .taps = taps,
                            .sections = calloc(lw_plan_taps(plan) + 1, sizeof *silent.sections),
                            .named = calloc(lw_plan_taps(plan) + 1, sizeof *silent.named),
                            .because = because,
                            .findings = findings};
    if (silent.sections != NULL && silent.named != NULL) {
        judge(&silent);
    } else {
        findings->failed = true;
    }
    free(silent.sections);
    free(silent.named);
}
