// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the touch walk finds, said.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/touch_inside.h"
#include "stats/quantile.h"

// A sound joint holds its drop to millivolts while somebody works beside it; a volt is a contact
// that opens (common practice).
static const double dip_v = 1.0;
static const double lost_share = 0.02;
enum { LOST = 3, SPIKES = 3 };

static struct lw_finding *found(struct lw_findings *findings, const char *code,
                                enum lw_verdict severity, const struct lw_touch_node *node,
                                const char *says)
{
    struct lw_finding *finding =
        lw_findings_add(findings, code, severity, "%s %s", node->node, says);
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
    return finding;
}

static const char *with_unit(double value, const char *unit, char text[48])
{
    char number[LW_NUMBER_TEXT];
    lw_number_for_people(value, NAN, number);
    lw_print(text, 48, "%s %s", number, unit != NULL ? lw_unit_shown(unit, true) : "");
    return text;
}

static void fill(struct lw_finding *finding, double value, double limit, double uncertainty,
                 const char *unit)
{
    if (finding != NULL) {
        finding->value = value;
        finding->limit = limit;
        finding->uncertainty = uncertainty;
        finding->unit = lw_duplicate(unit);
    }
}

static const struct lw_touch_node *by_name(const struct lw_touch_result *result, const char *name)
{
    const struct lw_touch_node *nodes = result->nodes.items;
    for (size_t i = 0; name != NULL && i < result->nodes.count; i++) {
        if (strcmp(nodes[i].node, name) == 0) {
            return &nodes[i];
        }
    }
    return NULL;
}

static void judge_place(const struct lw_touch_result *result, const struct lw_touch_node *node,
                        struct lw_findings *findings)
{
    char says[300];
    if (node->state == LW_TOUCH_SILENT) {
        found(findings, "touch_no_answer", LW_FAIL, node,
              "was deflected at its place, and no node answered");
        return;
    }
    if (node->state != LW_TOUCH_ELSEWHERE || node->answered_by == NULL) {
        return;
    }
    const struct lw_touch_node *other = by_name(result, node->answered_by);
    bool swapped = other != NULL && other->state == LW_TOUCH_ELSEWHERE &&
                   other->answered_by != NULL && strcmp(other->answered_by, node->node) == 0;
    if (swapped && other->tap < node->tap) {
        return; // said at the first of the two
    }
    lw_print(says, sizeof says,
             swapped ? "and %s stand in each other's place: each answered where the other is "
                       "planned"
                     : "does not sit at its place: %s answered there",
             node->answered_by);
    struct lw_finding *finding =
        found(findings, swapped ? "touch_swapped" : "touch_elsewhere", LW_FAIL, node, says);
    if (node->place != NULL) {
        lw_finding_because(findings, finding, "the place is %s", node->place);
    }
}

static void judge_sign(const struct lw_touch_node *node, struct lw_findings *findings)
{
    if (node->touches > 0 && node->sign == LW_SIGN_UNKNOWN) {
        found(findings, "touch_sign", LW_UNDECIDED, node,
              "was not seen to leave its first rest: its sign is not proved");
    }
    if (node->sign != LW_SIGN_REVERSED) {
        return;
    }
    found(findings, "touch_reversed", LW_FAIL, node,
          node->moved_to == 1 ? "moves to larger readings when deflected; the plan says smaller"
                              : "moves to smaller readings when deflected; the plan says larger");
}

static void judge_travel(const struct lw_touch_node *node, struct lw_findings *findings)
{
    char says[200], is[48], planned[48];
    if (!(node->travel > 0) || !(fabs(node->deflection) < node->travel)) {
        return;
    }
    lw_print(says, sizeof says, "was deflected by %s; its travel of %s is not proved",
             with_unit(fabs(node->deflection), node->unit, is),
             with_unit(node->travel, node->unit, planned));
    struct lw_finding *finding = found(findings, "touch_travel", LW_UNDECIDED, node, says);
    fill(finding, fabs(node->deflection), node->travel, NAN, node->unit);
}

static double worst_return(const struct lw_touch_node *node)
{
    const double *returns = node->returns.items;
    double worst = 0;
    for (size_t i = 0; i < node->returns.count; i++) {
        worst = fabs(returns[i]) > fabs(worst) ? returns[i] : worst;
    }
    return worst;
}

// A return beyond its limit at 95 %, shared among all returns that are judged together.
static void judge_return(const struct lw_touch_node *node, double judged,
                         struct lw_findings *findings)
{
    char says[200], off[48], limit[48];
    double worst = fabs(worst_return(node));
    double z = NAN;
    if (node->returns.count > 0) {
        (void)lw_quantile_normal(LW_TAIL_ABOVE, 0.05 / judged, &z, NULL);
    }
    double room = z * node->return_u;
    if (node->stayed) {
        found(findings, "touch_sticks", LW_FAIL, node, "did not come back when it was let go");
        return;
    }
    if (node->returns.count == 0 || !isfinite(node->return_limit) ||
        worst + room <= node->return_limit) {
        return;
    }
    bool proved = worst - room > node->return_limit;
    lw_print(says, sizeof says,
             proved ? "comes to rest %s from where it was; %s are allowed"
                    : "may or may not come back: %s from where it was, %s are allowed",
             with_unit(worst, node->unit, off), with_unit(node->return_limit, node->unit, limit));
    struct lw_finding *finding =
        found(findings, "touch_sticks", proved ? LW_FAIL : LW_UNDECIDED, node, says);
    fill(finding, worst, node->return_limit, node->return_u, node->unit);
    lw_finding_because(findings, finding, "the worst of %zu returns", node->returns.count);
}

static void judge_touches(const struct lw_touch_result *result, const struct lw_touch_node *node,
                          struct lw_findings *findings)
{
    char says[120];
    if (node->state != LW_TOUCH_RIGHT || node->touches >= result->returns_wanted) {
        return;
    }
    lw_print(says, sizeof says, "was let go %d of %d times: its return is proved by so many only",
             node->touches, result->returns_wanted);
    found(findings, "touch_few", LW_ATTENTION, node, says);
}

static void judge_coupled(const struct lw_touch_node *node, struct lw_findings *findings)
{
    const struct lw_touch_coupled *coupled = node->coupled.items;
    for (size_t i = 0; i < node->coupled.count; i++) {
        char says[200], by[48];
        lw_print(says, sizeof says, "takes %s with it, by %s", coupled[i].node,
                 with_unit(coupled[i].moved, coupled[i].unit, by));
        struct lw_finding *finding = found(findings, "touch_coupled", LW_ATTENTION, node, says);
        fill(finding, coupled[i].moved, NAN, coupled[i].moved_u, coupled[i].unit);
        if (isfinite(coupled[i].share)) {
            lw_finding_because(findings, finding, "%.2g %% of the deflection",
                               100 * coupled[i].share);
        }
    }
}

static void judge_supply(const struct lw_touch_node *node, struct lw_findings *findings)
{
    char says[200];
    if (!(node->volts - node->volts_least >= dip_v)) {
        return;
    }
    lw_print(says, sizeof says, "fell from %.2f V to %.2f V during the walk", node->volts,
             node->volts_least);
    struct lw_finding *finding = found(findings, "touch_supply_dip", LW_ATTENTION, node, says);
    fill(finding, node->volts_least, NAN, NAN, "V");
    if (node->volts_least_at != NULL) {
        lw_finding_because(findings, finding, "while %s was touched", node->volts_least_at);
    }
}

static bool lost_answers(const struct lw_touch_node *node)
{
    int lost = node->unanswered + node->damaged;
    return lost >= LOST && lost > lost_share * node->polls;
}

// Where most nodes lose answers it is the line that does, and no joint of one node.
static bool line_was_lost(const struct lw_touch_result *result)
{
    const struct lw_touch_node *nodes = result->nodes.items;
    size_t lost = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        lost += lost_answers(&nodes[i]);
    }
    return 2 * lost > result->nodes.count;
}

static void judge_bus(const struct lw_touch_node *node, bool line_lost,
                      struct lw_findings *findings)
{
    char says[200];
    int lost = node->unanswered + node->damaged;
    if (lost_answers(node) && !line_lost) {
        lw_print(says, sizeof says,
                 "left %d of %d questions without a whole answer during the walk", lost,
                 node->polls);
        found(findings, "touch_bus_errors", LW_ATTENTION, node, says);
    }
    if (node->spikes >= SPIKES) {
        lw_print(says, sizeof says, "gave %d single readings far off", node->spikes);
        found(findings, "touch_spikes", LW_ATTENTION, node, says);
    }
}

static void say_left(const struct lw_touch_result *result, struct lw_findings *findings)
{
    const struct lw_touch_node *nodes = result->nodes.items;
    struct lw_finding *finding = NULL;
    size_t left = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        left += nodes[i].state == LW_TOUCH_UNTOUCHED;
    }
    if (left > 0) {
        finding = lw_findings_add(findings, "touch_untouched", LW_NOT_TESTED,
                                  "%zu of %zu sensors were not touched", left, result->nodes.count);
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].state == LW_TOUCH_UNTOUCHED) {
            lw_finding_because(findings, finding, "%s%s%s", nodes[i].node,
                               nodes[i].place != NULL ? ", " : "",
                               nodes[i].place != NULL ? nodes[i].place : "");
        }
    }
}

static void say_skipped(const struct lw_touch_node *node, struct lw_findings *findings)
{
    if (node->state == LW_TOUCH_SKIPPED) {
        struct lw_finding *finding =
            found(findings, "touch_skipped", LW_NOT_TESTED, node, "was left out");
        lw_finding_because(findings, finding, "%s", node->reason != NULL ? node->reason : "");
    }
}

int lw_touch_judged(const struct lw_touch_result *result)
{
    const struct lw_touch_node *nodes = result->nodes.items;
    size_t judged = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        judged += nodes[i].returns.count;
    }
    return (int)judged;
}

void lw_touch_findings(const struct lw_touch_result *result, struct lw_findings *findings)
{
    const struct lw_touch_node *nodes = result->nodes.items;
    double judged = lw_touch_judged(result);
    bool line_lost = line_was_lost(result);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_touch_node *node = &nodes[i];
        judge_place(result, node, findings);
        judge_sign(node, findings);
        judge_travel(node, findings);
        judge_return(node, judged, findings);
        judge_touches(result, node, findings);
        judge_coupled(node, findings);
        judge_supply(node, findings);
        judge_bus(node, line_lost, findings);
        say_skipped(node, findings);
    }
    say_left(result, findings);
}
