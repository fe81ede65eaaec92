// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a roster says: its JSON shape and its findings.
#include "check/ask.h"
#include "check/roster.h"
#include "check/silent.h"

static const char *const state_words[] = {"present",    "missing",       "unplanned",
                                          "swapped",    "wrong_kind",    "doubled",
                                          "unreadable", "wrong_framing", NULL};

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_roster_node, tap), .kind = LW_INTEGER,
     .says = "place on the chain from 1; 0 when the plan has no such node"},
    {LW_AT(struct lw_roster_node, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_roster_node, place), .kind = LW_TEXT, .says = "where it sits in the machine"},
    {LW_AT(struct lw_roster_node, profile), .kind = LW_TEXT, .says = "planned profile"},
    {LW_AT(struct lw_roster_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {LW_AT(struct lw_roster_node, state), .kind = LW_CHOICE, .names = state_words, .required = true,
     .says = "what became of it"},
    {LW_AT(struct lw_roster_node, vendor), .kind = LW_TEXT, .says = "as read"},
    {LW_AT(struct lw_roster_node, product_code), .kind = LW_TEXT, .says = "as read"},
    {LW_AT(struct lw_roster_node, revision), .kind = LW_TEXT, .says = "firmware, as read"},
    {LW_AT(struct lw_roster_node, serial), .kind = LW_TEXT, .says = "module serial, as read"},
    {LW_AT(struct lw_roster_node, planned_serial), .kind = LW_TEXT,
     .says = "module serial in the plan"},
    {LW_AT(struct lw_roster_node, sensor_serial), .kind = LW_TEXT,
     .says = "sensor serial, as read"},
    {LW_AT(struct lw_roster_node, calibrated_on), .kind = LW_TEXT, .says = "date, as read"},
    {LW_AT(struct lw_roster_node, calibration_due), .kind = LW_TEXT, .says = "date, as read"},
    {LW_AT(struct lw_roster_node, framing), .kind = LW_TEXT,
     .says = "framing at which it answers, when that is not the line's"},
    {LW_AT(struct lw_roster_node, status), .kind = LW_INTEGER, .fallback = -1,
     .says = "status register; -1 when not read"},
    {LW_AT(struct lw_roster_node, supply_v), .kind = LW_NUMBER, .nullable = true,
     .says = "its own voltmeter, volts"},
    {LW_AT(struct lw_roster_node, temperature_c), .kind = LW_NUMBER, .nullable = true,
     .says = "its own thermometer, degrees Celsius"},
    {LW_AT(struct lw_roster_node, uptime_s), .kind = LW_NUMBER, .nullable = true,
     .says = "seconds since it started"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "roster_node", .size = sizeof(struct lw_roster_node), .fields = node_fields};

static const struct lw_field roster_fields[] = {
    {LW_AT(struct lw_roster_result, planned), .kind = LW_INTEGER, .says = "planned nodes asked"},
    {LW_AT(struct lw_roster_result, present), .kind = LW_INTEGER,
     .says = "of these, present and the right kind"},
    {LW_AT(struct lw_roster_result, simulated), .kind = LW_BOOLEAN,
     .says = "a node said that it is a virtual one"},
    {LW_AT(struct lw_roster_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "by tap, then unplanned ones by address"},
    {0},
};
const struct lw_shape lw_roster_shape = {
    .name = "roster", .size = sizeof(struct lw_roster_result), .fields = roster_fields};

const char *lw_roster_state_word(enum lw_roster_state state)
{
    return state_words[state];
}

struct judged {
    const struct lw_run *run;
    const struct lw_roster_node *node;
    const struct lw_chain_entry *entry;
    bool told; // a finding names it together with others
    struct lw_findings *findings;
};

static struct lw_finding *found(const struct judged *judged, const char *code,
                                enum lw_verdict severity, const char *says)
{
    struct lw_finding *finding = lw_findings_add(judged->findings, code, severity, "%s", says);
    lw_finding_node(judged->findings, finding, judged->node->node, (size_t)judged->node->tap,
                    judged->node->address);
    return finding;
}

static const char *name_of(const struct judged *judged)
{
    return judged->node->node != NULL ? judged->node->node : "the node";
}

static const char *or_unknown(const char *text)
{
    return text != NULL ? text : "unknown";
}

static void judge_state(const struct judged *judged)
{
    const struct lw_roster_node *node = judged->node;
    char says[300];
    switch ((enum lw_roster_state)node->state) {
    case LW_ROSTER_PRESENT:
        break;
    case LW_ROSTER_MISSING:
        if (judged->told) {
            break;
        }
        lw_print(says, sizeof says, "%s does not answer at address %d", name_of(judged),
                 node->address);
        found(judged, "roster_missing", LW_FAIL, says);
        break;
    case LW_ROSTER_UNPLANNED:
        lw_print(says, sizeof says, "address %d answers, but the plan has no node there (%s %s)",
                 node->address, or_unknown(node->vendor), or_unknown(node->product_code));
        found(judged, "roster_unplanned", LW_ATTENTION, says);
        break;
    case LW_ROSTER_SWAPPED:
        lw_print(says, sizeof says, "%s carries serial %s, which the plan has at another node",
                 name_of(judged), or_unknown(node->serial));
        found(judged, "roster_swapped", LW_FAIL, says);
        break;
    case LW_ROSTER_WRONG_KIND:
        lw_print(says, sizeof says, "%s is a '%s', planned is a '%s'", name_of(judged),
                 or_unknown(node->product_code),
                 or_unknown(judged->entry->is->identity.product_code));
        found(judged, "roster_wrong_kind", LW_FAIL, says);
        break;
    case LW_ROSTER_DOUBLED:
        lw_print(says, sizeof says, "address %d is answered by more than one node at a time",
                 node->address);
        found(judged, "roster_doubled", LW_FAIL, says);
        break;
    case LW_ROSTER_UNREADABLE:
        lw_print(says, sizeof says, "%s answers, but its registers cannot be read",
                 name_of(judged));
        found(judged, "roster_unreadable", LW_FAIL, says);
        break;
    case LW_ROSTER_WRONG_FRAMING:
        lw_print(says, sizeof says, "%s answers at %s", name_of(judged), or_unknown(node->framing));
        found(judged, "roster_wrong_framing", LW_FAIL, says);
        break;
    }
}

static void judge_serials(const struct judged *judged)
{
    const struct lw_roster_node *node = judged->node;
    char says[300];
    if (node->planned_serial == NULL) {
        lw_print(says, sizeof says, "the plan has no serial for %s", name_of(judged));
        found(judged, "roster_serial_unproved", LW_ATTENTION, says);
    } else if (node->serial == NULL) {
        lw_print(says, sizeof says, "%s does not tell its serial", name_of(judged));
        found(judged, "roster_serial_unproved", LW_ATTENTION, says);
    } else if (strcmp(node->serial, node->planned_serial) != 0) {
        lw_print(says, sizeof says, "%s has serial %s, planned is %s", name_of(judged),
                 node->serial, node->planned_serial);
        found(judged, "roster_serial_differs", LW_FAIL, says);
    }
    const char *sensor = judged->entry->sensor_serial;
    if (sensor != NULL && node->sensor_serial != NULL && strcmp(sensor, node->sensor_serial) != 0) {
        lw_print(says, sizeof says, "%s has sensor %s, planned is %s", name_of(judged),
                 node->sensor_serial, sensor);
        found(judged, "roster_sensor_differs", LW_FAIL, says);
    }
}

static void judge_firmware(const struct judged *judged)
{
    const char *planned = judged->entry->firmware;
    if (planned != NULL && judged->node->revision != NULL &&
        lw_revision_compare(judged->node->revision, planned) != 0) {
        char says[300];
        lw_print(says, sizeof says, "%s has firmware %s, the plan has %s", name_of(judged),
                 judged->node->revision, planned);
        found(judged, "roster_firmware_differs", LW_ATTENTION, says);
    }
    const char *least = judged->entry->is->identity.revision_at_least;
    const char *revision = judged->node->revision;
    if (least == NULL || revision == NULL || lw_revision_compare(revision, least) >= 0) {
        return;
    }
    char says[300];
    lw_print(says, sizeof says, "%s has firmware %s, at least %s is asked for", name_of(judged),
             revision, least);
    found(judged, "roster_firmware_old", LW_ATTENTION, says);
}

// A node whose profile has a register for the date, and which tells none.
static void judge_missing_date(const struct judged *judged)
{
    const struct lw_profile *profile = judged->entry->is;
    bool tells = lw_profile_register(profile, LW_ROLE_CALIBRATED_ON) != NULL ||
                 lw_profile_register(profile, LW_ROLE_CALIBRATION_DUE) != NULL;
    bool told = judged->node->calibrated_on != NULL || judged->node->calibration_due != NULL;
    if (tells && !told) {
        char says[300];
        lw_print(says, sizeof says, "%s does not tell when it was calibrated", name_of(judged));
        found(judged, "roster_calibration_unknown", LW_ATTENTION, says);
    }
}

static void judge_calibration(const struct judged *judged)
{
    double interval_days = judged->entry->is->metrology.calibration_interval_days;
    int64_t due_days = 0, utc_ns = 0;
    if (judged->node->calibration_due != NULL &&
        lw_time_parse(judged->node->calibration_due, &utc_ns) == 0) {
        due_days = lw_time_days(utc_ns);
    } else if (judged->node->calibrated_on != NULL && isfinite(interval_days) &&
               lw_time_parse(judged->node->calibrated_on, &utc_ns) == 0) {
        due_days = lw_time_days(utc_ns) + (int64_t)interval_days;
    } else {
        judge_missing_date(judged);
        return;
    }
    if (judged->run->today_days > due_days) {
        char says[300], date[LW_TIME_TEXT];
        lw_time_format(due_days * 86400 * INT64_C(1000000000), 0, date);
        lw_print(says, sizeof says, "calibration of %s was due on %.10s", name_of(judged), date);
        found(judged, "roster_calibration_due", LW_ATTENTION, says);
    }
}

static void judge_status(const struct judged *judged)
{
    static const struct {
        enum lw_bit_meaning meaning;
        const char *code, *words;
        enum lw_verdict severity;
    } rows[] = {
        {LW_BIT_UNDER_VOLTAGE, "roster_under_voltage", "reports under-voltage", LW_FAIL},
        {LW_BIT_SENSOR_OPEN, "roster_sensor_open", "reports an open sensor", LW_FAIL},
        {LW_BIT_OVER_RANGE, "roster_over_range", "reports a sensor out of range", LW_ATTENTION},
        {LW_BIT_STALE_IDENTITY, "roster_stale_identity",
         "still has the identity from before its sensor was exchanged", LW_FAIL},
        {LW_BIT_FAULT, "roster_fault", "reports a fault", LW_FAIL},
    };
    if (judged->node->status < 0) {
        return;
    }
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        unsigned mask = lw_status_mask(judged->entry->is, rows[i].meaning);
        if ((unsigned)judged->node->status & mask) {
            char says[300];
            lw_print(says, sizeof says, "%s %s", name_of(judged), rows[i].words);
            found(judged, rows[i].code, rows[i].severity, says);
        }
    }
}

static bool has_identity(const struct lw_roster_node *node)
{
    return node->vendor != NULL || node->product_code != NULL;
}

static void judge_node(const struct judged *judged)
{
    judge_state(judged);
    bool read = judged->node->state == LW_ROSTER_PRESENT;
    if (!read || judged->entry == NULL) {
        return;
    }
    const struct lw_profile_identity *identity = &judged->entry->is->identity;
    if ((identity->vendor != NULL || identity->product_code != NULL) &&
        !has_identity(judged->node)) {
        char says[300];
        lw_print(says, sizeof says, "%s does not tell its kind", name_of(judged));
        found(judged, "roster_identity_unproved", LW_ATTENTION, says);
    }
    judge_serials(judged);
    judge_firmware(judged);
    judge_calibration(judged);
    judge_status(judged);
}

// Those that are missing in a row are told together. `taps` of lw_plan_taps(), zeroed.
static void judge_missing(const struct lw_plan *plan, const struct lw_roster_result *result,
                          enum lw_silent_tap *taps, struct lw_findings *findings)
{
    const struct lw_roster_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].tap > 0) {
            taps[nodes[i].tap - 1] =
                nodes[i].state == LW_ROSTER_MISSING ? LW_TAP_SILENT : LW_TAP_ANSWERS;
        }
    }
    lw_silent_findings(plan, taps, NULL, findings);
}

void lw_roster_findings(const struct lw_run *run, const struct lw_plan *plan,
                        const struct lw_roster_result *result, struct lw_findings *findings)
{
    const struct lw_roster_node *nodes = result->nodes.items;
    enum lw_silent_tap *taps = plan != NULL ? calloc(lw_plan_taps(plan) + 1, sizeof *taps) : NULL;
    if (taps != NULL) {
        judge_missing(plan, result, taps, findings);
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        struct judged judged = {.run = run, .node = &nodes[i], .findings = findings};
        if (plan != NULL && nodes[i].tap > 0) {
            judged.entry = lw_plan_tap(plan, (size_t)nodes[i].tap);
            judged.told = taps != NULL && taps[nodes[i].tap - 1] == LW_TAP_TOLD;
        }
        judge_node(&judged);
    }
    free(taps);
}
