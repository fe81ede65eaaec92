// SPDX-License-Identifier: GPL-3.0-or-later
//
// The lists. Every field passes lw_csv_field(), which keeps a node's text from becoming a formula.
#include "report/exports.h"

#include "base/csv.h"

#include <string.h>

static void row(struct lw_text *out, const char *const *fields, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        lw_csv_field(out, fields[i] ? fields[i] : "", i);
    }
    lw_text_put(out, "\n", 1);
}

#define ROW(out_, ...)                                                                             \
    row(out_, (const char *const[]){__VA_ARGS__},                                                  \
        sizeof((const char *const[]){__VA_ARGS__}) / sizeof(const char *))

static const char *number(char text[16], size_t value)
{
    lw_print(text, 16, "%zu", value);
    return text;
}

static const struct lw_roster_node *read_at(const struct lw_roster_result *roster, size_t tap)
{
    const struct lw_roster_node *nodes = roster ? roster->nodes.items : NULL;
    for (size_t i = 0; roster && i < roster->nodes.count; i++) {
        if (nodes[i].tap > 0 && (size_t)nodes[i].tap == tap) {
            return &nodes[i];
        }
    }
    return NULL;
}

static void planned_node(const struct lw_plan *plan, const struct lw_roster_result *roster,
                         size_t tap, struct lw_text *out)
{
    static const struct lw_roster_node none = {0};
    const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
    const struct lw_roster_node *read = read_at(roster, tap);
    char tap_text[16], address[16];
    const char *state = read ? lw_roster_state_word((enum lw_roster_state)read->state) : "not read";
    read = read ? read : &none;
    ROW(out, number(tap_text, tap), entry->node, number(address, (size_t)entry->address),
        entry->place, entry->profile, entry->serial, entry->sensor_serial, state, read->vendor,
        read->product_code, read->revision, read->serial, read->sensor_serial, read->calibrated_on,
        read->calibration_due);
}

static void unplanned_node(const struct lw_roster_node *read, struct lw_text *out)
{
    char address[16];
    ROW(out, NULL, NULL, number(address, (size_t)read->address), NULL, NULL, NULL, NULL,
        lw_roster_state_word((enum lw_roster_state)read->state), read->vendor, read->product_code,
        read->revision, read->serial, read->sensor_serial, read->calibrated_on,
        read->calibration_due);
}

void lw_export_nodes(const struct lw_plan *plan, const struct lw_roster_result *roster,
                     struct lw_text *out)
{
    ROW(out, "tap", "node", "address", "place", "profile", "planned_serial",
        "planned_sensor_serial", "state", "vendor", "product_code", "revision", "serial",
        "sensor_serial", "calibrated_on", "calibration_due");
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        if (lw_plan_tap(plan, tap)->node) {
            planned_node(plan, roster, tap, out);
        }
    }
    const struct lw_roster_node *nodes = roster ? roster->nodes.items : NULL;
    for (size_t i = 0; roster && i < roster->nodes.count; i++) {
        if (nodes[i].tap == 0) {
            unplanned_node(&nodes[i], out);
        }
    }
}

void lw_export_labels(const struct lw_plan *plan, const struct lw_roster_result *roster,
                      struct lw_text *out)
{
    ROW(out, "node", "place", "address", "serial", "machine");
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        const struct lw_roster_node *read = read_at(roster, tap);
        char address[16];
        if (entry->node) {
            ROW(out, entry->node, entry->place, number(address, (size_t)entry->address),
                read && read->serial ? read->serial : entry->serial, plan->site.machine);
        }
    }
}

static bool same(const char *a, const char *b)
{
    return a && b && strcmp(a, b) == 0;
}

static bool kind_before(const struct lw_plan *plan, size_t tap)
{
    for (size_t k = 1; k < tap; k++) {
        if (same(lw_plan_tap(plan, k)->profile, lw_plan_tap(plan, tap)->profile)) {
            return true;
        }
    }
    return false;
}

static void kind_row(const struct lw_plan *plan, size_t first, struct lw_text *out)
{
    const struct lw_chain_entry *entry = lw_plan_tap(plan, first);
    const struct lw_profile *profile = entry->is;
    struct lw_text where = {0};
    char count_text[16];
    size_t count = 0;
    for (size_t tap = first; tap <= lw_plan_taps(plan); tap++) {
        if (same(lw_plan_tap(plan, tap)->profile, entry->profile)) {
            lw_text_add(&where, "%s%s", count++ ? " " : "", lw_plan_tap(plan, tap)->node);
        }
    }
    ROW(out, "node", profile ? profile->title : entry->profile,
        profile ? profile->identity.vendor : NULL, profile ? profile->identity.product_code : NULL,
        profile ? profile->identity.revision_at_least : NULL, number(count_text, count),
        where.bytes);
    out->failed = out->failed || where.failed;
    lw_text_finish(&where);
}

void lw_export_parts(const struct lw_plan *plan, struct lw_text *out)
{
    const struct lw_supply *supplies = plan->supplies.items;
    ROW(out, "part", "what", "maker", "order_code", "revision_at_least", "in_use", "where");
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        if (lw_plan_tap(plan, tap)->node && !kind_before(plan, tap)) {
            kind_row(plan, tap, out);
        }
    }
    for (size_t i = 0; i < plan->supplies.count; i++) {
        char what[60];
        lw_print(what, sizeof what, "supply %.6g V, %.6g A", supplies[i].nominal_v,
                 supplies[i].limit_a);
        ROW(out, "supply", what, NULL, supplies[i].order_code, NULL, "1", supplies[i].name);
    }
}
