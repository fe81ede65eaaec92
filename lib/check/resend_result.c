// SPDX-License-Identifier: GPL-3.0-or-later
//
// What resend says: its JSON shape and its findings.
#include "check/resend.h"

#include "base/text.h"
#include "base/unit.h"

#include <math.h>
#include <string.h>

static const struct lw_field change_fields[] = {
    {LW_AT(struct lw_resend_change, what), .kind = LW_TEXT, .required = true,
     .says = "what the node says of itself"},
    {LW_AT(struct lw_resend_change, then), .kind = LW_TEXT, .says = "on the recording"},
    {LW_AT(struct lw_resend_change, now), .kind = LW_TEXT, .says = "now"},
    {0},
};
static const struct lw_shape change_shape = {
    .name = "resend_change", .size = sizeof(struct lw_resend_change), .fields = change_fields};

#define COUNT(type, member) LW_AT(type, member), .kind = LW_NUMBER, .has_default = true
#define MAYBE(type, member) LW_AT(type, member), .kind = LW_NUMBER, .nullable = true

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_resend_node, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_resend_node, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_resend_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {COUNT(struct lw_resend_node, sent), .says = "requests sent"},
    {COUNT(struct lw_resend_node, answered_then), .says = "of these, answered on the recording"},
    {COUNT(struct lw_resend_node, answered_now), .says = "of these, answered now"},
    {COUNT(struct lw_resend_node, refusals_changed),
     .says = "answered on one side and refused on the other, or refused otherwise"},
    {LW_AT(struct lw_resend_node, identity), .kind = LW_LIST, .sub = &change_shape,
     .says = "what it says of itself and said otherwise then"},
    {MAYBE(struct lw_resend_node, status_then),
     .says = "status register of the last answer whose status differed; null: none did"},
    {MAYBE(struct lw_resend_node, status_now), .says = "the same, now"},
    {COUNT(struct lw_resend_node, values), .says = "readings compared"},
    {COUNT(struct lw_resend_node, values_outside), .says = "of these, beyond the tolerance"},
    {MAYBE(struct lw_resend_node, tolerance), .says = "in unit; null: not judged"},
    {MAYBE(struct lw_resend_node, largest_difference), .says = "of a reading, in unit"},
    {LW_AT(struct lw_resend_node, unit), .kind = LW_TEXT, .says = "of the readings"},
    {MAYBE(struct lw_resend_node, reply_then_ms), .says = "median on the recording"},
    {MAYBE(struct lw_resend_node, reply_now_ms), .says = "median now"},
    {LW_AT(struct lw_resend_node, slower), .kind = LW_BOOLEAN,
     .says = "nine of ten replies take longer than nine of ten did"},
    {LW_AT(struct lw_resend_node, faster), .kind = LW_BOOLEAN,
     .says = "nine of ten replies take less than nine of ten did"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "resend_node", .size = sizeof(struct lw_resend_node), .fields = node_fields};

static const struct lw_field resend_fields[] = {
    {COUNT(struct lw_resend_result, sent), .says = "requests sent"},
    {COUNT(struct lw_resend_result, writes_sent), .says = "of these, writes"},
    {COUNT(struct lw_resend_result, writes_left_out), .says = "writes that were not sent"},
    {COUNT(struct lw_resend_result, forbidden),
     .says = "requests that are never sent: other functions, broadcasts"},
    {COUNT(struct lw_resend_result, clears_left_out),
     .says = "reads left out, since a register would clear"},
    {COUNT(struct lw_resend_result, others_left_out),
     .says = "not selected, or a reply without a request"},
    {COUNT(struct lw_resend_result, errors_then),
     .says = "no answer, damaged or wrong, on the recording"},
    {COUNT(struct lw_resend_result, errors_now), .says = "the same, now"},
    {MAYBE(struct lw_resend_result, more_errors_p),
     .says = "probability of so many more errors if nothing had changed (exact McNemar test)"},
    {COUNT(struct lw_resend_result, elapsed_s), .says = "time of sending"},
    {COUNT(struct lw_resend_result, behind_s), .says = "how far the recorded rhythm was missed"},
    {LW_AT(struct lw_resend_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "by address"},
    {0},
};
const struct lw_shape lw_resend_shape = {
    .name = "resend", .size = sizeof(struct lw_resend_result), .fields = resend_fields};

enum { NAME = 24 };

static const char *name_of(const struct lw_resend_node *node, char name[NAME])
{
    if (node->node != NULL) {
        lw_copy(name, NAME, node->node);
    } else {
        lw_print(name, NAME, "address %d", node->address);
    }
    return name;
}

static struct lw_finding *about_node(struct lw_findings *findings, struct lw_finding *finding,
                                     const struct lw_resend_node *node)
{
    char name[NAME];
    if (node->node != NULL) {
        lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
    } else {
        lw_finding_about(findings, finding, name_of(node, name));
        if (finding != NULL) {
            finding->address = node->address;
        }
    }
    return finding;
}

// What changes on a node that stays the same one.
static bool is_upkeep(const char *what)
{
    return strcmp(what, lw_role_word(LW_ROLE_FIRMWARE)) == 0 ||
           strcmp(what, lw_role_word(LW_ROLE_CALIBRATED_ON)) == 0 ||
           strcmp(what, lw_role_word(LW_ROLE_CALIBRATION_DUE)) == 0 ||
           strcmp(what, "firmware revision") == 0;
}

static bool all_upkeep(const struct lw_resend_node *node)
{
    const struct lw_resend_change *changes = node->identity.items;
    for (size_t i = 0; i < node->identity.count; i++) {
        if (!is_upkeep(changes[i].what)) {
            return false;
        }
    }
    return true;
}

static void judge_identity(const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    const struct lw_resend_change *changes = node->identity.items;
    if (node->identity.count == 0) {
        return;
    }
    bool upkeep = all_upkeep(node);
    struct lw_finding *finding =
        upkeep ? lw_findings_add(findings, "resend_upkeep_differs", LW_ATTENTION,
                                 "%s was updated or calibrated at another time than then",
                                 name_of(node, name))
               : lw_findings_add(findings, "resend_identity_differs", LW_FAIL,
                                 "%s is not as it was recorded: another node or sensor",
                                 name_of(node, name));
    about_node(findings, finding, node);
    for (size_t i = 0; i < node->identity.count; i++) {
        lw_finding_because(findings, finding, "%s was '%s', is '%s'", changes[i].what,
                           changes[i].then, changes[i].now);
    }
}

static bool judge_silence(const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    if (node->answered_then == 0 || node->answered_now > 0) {
        return false;
    }
    about_node(findings,
               lw_findings_add(findings, "resend_silent", LW_FAIL,
                               "%s answers none of %.0f requests, %.0f were answered then",
                               name_of(node, name), node->sent, node->answered_then),
               node);
    return true;
}

static void judge_refusals(const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    if (node->refusals_changed > 0) {
        about_node(findings,
                   lw_findings_add(findings, "resend_refusals_differ", LW_ATTENTION,
                                   "%s refuses otherwise than then at %.0f of %.0f requests",
                                   name_of(node, name), node->refusals_changed, node->sent),
                   node);
    }
}

// A tolerance that a person gave is a limit; one made of the noise limit asks for a look.
static void judge_readings(const struct lw_resend_options *options,
                           const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    if (node->values_outside == 0) {
        return;
    }
    const char *unit = node->unit != NULL ? lw_unit_shown(node->unit, true) : "";
    struct lw_finding *finding = lw_findings_add(
        findings, "resend_reading_differs", isfinite(options->tolerance) ? LW_FAIL : LW_ATTENTION,
        "%s reads otherwise than then in %.0f of %.0f answers: by up to %.4g %s, allowed are "
        "%.4g %s",
        name_of(node, name), node->values_outside, node->values, node->largest_difference, unit,
        node->tolerance, unit);
    about_node(findings, finding, node);
    if (finding != NULL) {
        finding->value = node->largest_difference;
        finding->limit = node->tolerance;
        finding->unit = lw_duplicate(node->unit);
    }
}

static void judge_status(const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    if (isfinite(node->status_now)) {
        about_node(findings,
                   lw_findings_add(findings, "resend_status_differs", LW_ATTENTION,
                                   "status of %s was 0x%04X, is 0x%04X", name_of(node, name),
                                   (unsigned)node->status_then, (unsigned)node->status_now),
                   node);
    }
}

static void judge_time(const struct lw_resend_node *node, struct lw_findings *findings)
{
    char name[NAME];
    if (!node->slower && !node->faster) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        findings, "resend_timing_differs", LW_ATTENTION, "%s answers after %.1f ms, it was %.1f ms",
        name_of(node, name), node->reply_now_ms, node->reply_then_ms);
    about_node(findings, finding, node);
    if (finding != NULL) {
        finding->value = node->reply_now_ms;
        finding->unit = lw_duplicate("ms");
    }
}

static void judge_errors(const struct lw_resend_result *result, struct lw_findings *findings)
{
    if (!(result->more_errors_p < 0.05)) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(findings, "resend_more_errors", LW_ATTENTION,
                        "%.0f of %.0f requests went wrong, on the recording %.0f",
                        result->errors_now, result->sent, result->errors_then);
    lw_finding_because(findings, finding,
                       "so many more would come with probability %.2g if nothing had changed",
                       result->more_errors_p);
}

static void judge_left_out(const struct lw_resend_result *result, struct lw_findings *findings)
{
    double all = result->writes_left_out + result->forbidden + result->clears_left_out;
    if (all == 0) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(findings, "resend_left_out", LW_NOT_TESTED,
                        "%.0f recorded request%s not sent", all, all == 1 ? " was" : "s were");
    if (result->writes_left_out > 0) {
        lw_finding_because(findings, finding, "writes: %.0f", result->writes_left_out);
    }
    if (result->forbidden > 0) {
        lw_finding_because(findings, finding, "functions never sent, and broadcasts: %.0f",
                           result->forbidden);
    }
    if (result->clears_left_out > 0) {
        lw_finding_because(findings, finding, "reads of registers that clear on reading: %.0f",
                           result->clears_left_out);
    }
}

// One finding for all nodes, about the first of them.
static void judge_not_judged(const struct lw_plan *plan, const struct lw_resend_result *result,
                             struct lw_findings *findings)
{
    const struct lw_resend_node *nodes = result->nodes.items, *first = NULL;
    char name[NAME];
    size_t count = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        bool without = plan == NULL || nodes[i].tap == 0 ||
                       (nodes[i].values > 0 && !isfinite(nodes[i].tolerance));
        if (without && nodes[i].answered_now > 0) {
            first = first != NULL ? first : &nodes[i];
            count++;
        }
    }
    if (first != NULL) {
        about_node(findings,
                   lw_findings_add(findings, "resend_not_judged", LW_NOT_TESTED,
                                   "the readings of %zu node%s were not compared, %s first", count,
                                   count == 1 ? "" : "s", name_of(first, name)),
                   first);
    }
}

void lw_resend_findings(const struct lw_plan *plan, const struct lw_resend_options *options,
                        const struct lw_resend_result *result, struct lw_findings *findings)
{
    if (result->sent == 0) {
        lw_findings_add(findings, "resend_nothing", LW_NOT_TESTED, "nothing was sent");
    }
    const struct lw_resend_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (judge_silence(&nodes[i], findings)) {
            continue;
        }
        judge_identity(&nodes[i], findings);
        judge_refusals(&nodes[i], findings);
        judge_readings(options, &nodes[i], findings);
        judge_status(&nodes[i], findings);
        judge_time(&nodes[i], findings);
    }
    judge_errors(result, findings);
    judge_not_judged(plan, result, findings);
    judge_left_out(result, findings);
}
