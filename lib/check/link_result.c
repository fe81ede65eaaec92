// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the link check says: its JSON shape and its findings.
#include "check/link.h"
#include "check/link_judge.h"
#include "check/silent.h"
#include "stats/decide.h"
#include "stats/interval.h"

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};

static const struct lw_field times_fields[] = {
    {LW_AT(struct lw_link_times, p50), .kind = LW_NUMBER, .nullable = true, .says = "median"},
    {LW_AT(struct lw_link_times, p95), .kind = LW_NUMBER, .nullable = true,
     .says = "95 of 100 are below"},
    {LW_AT(struct lw_link_times, max), .kind = LW_NUMBER, .nullable = true, .says = "longest"},
    {0},
};
static const struct lw_shape times_shape = {
    .name = "link_times", .size = sizeof(struct lw_link_times), .fields = times_fields};

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_link_node, node), .kind = LW_TEXT, .says = "name in the plan"},
    {LW_AT(struct lw_link_node, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_link_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {LW_AT(struct lw_link_node, polls), .kind = LW_NUMBER, .says = "requests sent"},
    {LW_AT(struct lw_link_node, no_answer), .kind = LW_NUMBER, .says = "of these, silent"},
    {LW_AT(struct lw_link_node, crc_error), .kind = LW_NUMBER, .says = "damaged answers"},
    {LW_AT(struct lw_link_node, wrong_answer), .kind = LW_NUMBER,
     .says = "whole answers that do not fit the question"},
    {LW_AT(struct lw_link_node, exception), .kind = LW_NUMBER,
     .says = "refused with an exception; no error of the line"},
    {LW_AT(struct lw_link_node, error_rate), .kind = LW_NUMBER, .nullable = true,
     .says = "errors a poll"},
    {LW_AT(struct lw_link_node, upper95), .kind = LW_NUMBER, .nullable = true,
     .says = "one-sided 95 % bound of the error rate (Clopper-Pearson)"},
    {LW_AT(struct lw_link_node, reply_ms), .kind = LW_OBJECT, .sub = &times_shape,
     .says = "end of request to start of answer"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "link_node", .size = sizeof(struct lw_link_node), .fields = node_fields};

static const struct lw_field line_fields[] = {
    {LW_AT(struct lw_link_line, polls), .kind = LW_NUMBER,
     .says = "pooled over all nodes that answered at all"},
    {LW_AT(struct lw_link_line, errors), .kind = LW_NUMBER, .says = "of these, errors"},
    {LW_AT(struct lw_link_line, error_rate), .kind = LW_NUMBER, .nullable = true,
     .says = "errors a poll"},
    {LW_AT(struct lw_link_line, lower95), .kind = LW_NUMBER, .nullable = true,
     .says = "one-sided 95 % lower bound of the rate, on clusters of errors"},
    {LW_AT(struct lw_link_line, upper95), .kind = LW_NUMBER, .nullable = true,
     .says = "one-sided 95 % upper bound of the rate, on clusters of errors"},
    {LW_AT(struct lw_link_line, events), .kind = LW_NUMBER,
     .says = "clusters: errors within a second of each other are one"},
    {LW_AT(struct lw_link_line, bursts), .kind = LW_NUMBER,
     .says = "clusters of two errors or more"},
    {LW_AT(struct lw_link_line, bursts_per_h), .kind = LW_NUMBER, .says = "bursts an hour"},
    {LW_AT(struct lw_link_line, worst_second), .kind = LW_NUMBER,
     .says = "errors in the worst second"},
    {LW_AT(struct lw_link_line, n_to_decide), .kind = LW_NUMBER, .nullable = true,
     .says = "polls at which the rate as it stands would decide"},
    {LW_AT(struct lw_link_line, verdict), .kind = LW_CHOICE, .names = verdict_words,
     .says = "the rate against its limit"},
    {0},
};
static const struct lw_shape line_shape = {
    .name = "link_line", .size = sizeof(struct lw_link_line), .fields = line_fields};

static const struct lw_field link_fields[] = {
    {LW_AT(struct lw_link_result, cycle_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "one round over all nodes, median"},
    {LW_AT(struct lw_link_result, longest_cycle_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "the longest round"},
    {LW_AT(struct lw_link_result, wire_cycle_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "what the wire and the nodes' latency alone take for a round"},
    {LW_AT(struct lw_link_result, elapsed_s), .kind = LW_NUMBER, .says = "time of polling"},
    {LW_AT(struct lw_link_result, late_ms), .kind = LW_NUMBER,
     .says = "the longest that adapter and system may have kept an answer: it stands in each reply "
             "time"},
    {LW_AT(struct lw_link_result, spread_ms), .kind = LW_NUMBER, .nullable = true,
     .says = "how far 95 of 100 answers of the steadiest node lie behind its fastest: adapter, "
             "system and node together"},
    {LW_AT(struct lw_link_result, line), .kind = LW_OBJECT, .sub = &line_shape,
     .says = "the line as a whole"},
    {LW_AT(struct lw_link_result, nodes), .kind = LW_LIST, .sub = &node_shape,
     .says = "by address"},
    {0},
};
const struct lw_shape lw_link_shape = {
    .name = "link", .size = sizeof(struct lw_link_result), .fields = link_fields};

static double errors_of(const struct lw_link_node *node)
{
    return node->no_answer + node->crc_error + node->wrong_answer;
}

static bool is_silent(const struct lw_link_node *node)
{
    return node->polls > 0 && node->no_answer == node->polls;
}

// Without an error there is nothing to look for yet: the next step is to poll on.
static void say_how_many_would_decide(const struct lw_link_line *line, struct lw_findings *findings,
                                      struct lw_finding *finding)
{
    if (!isfinite(line->n_to_decide) || !(line->n_to_decide > line->polls)) {
        return;
    }
    lw_finding_because(findings, finding,
                       "%.0f polls in all would decide if the rate stays as it is",
                       line->n_to_decide);
    if (finding != NULL && line->errors == 0) {
        char next[120];
        lw_print(next, sizeof next, "poll on: %.0f more polls without an error would prove it",
                 line->n_to_decide - line->polls);
        free(finding->next);
        finding->next = lw_duplicate(next);
        findings->failed = findings->failed || finding->next == NULL;
    }
}

static void judge_rate(const struct lw_plan *plan, const struct lw_link_result *result,
                       struct lw_findings *findings)
{
    const struct lw_link_line *line = &result->line;
    double limit = lw_link_limit(plan);
    if (line->verdict == LW_PASS) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(findings, "link_error_rate", (enum lw_verdict)line->verdict,
                        "%.0f error%s in %.0f polls: the rate may be anything up to %.2g",
                        line->errors, line->errors == 1 ? "" : "s", line->polls, line->upper95);
    if (finding != NULL) {
        finding->value = line->error_rate;
        finding->limit = limit;
        finding->unit = lw_duplicate("1");
    }
    if (line->verdict == LW_UNDECIDED) {
        lw_finding_because(findings, finding,
                           "the 95 %% bounds %.2g and %.2g enclose the limit %.2g", line->lower95,
                           line->upper95, limit);
        say_how_many_would_decide(line, findings, finding);
    } else {
        lw_finding_because(findings, finding, "the 95 %% lower bound %.2g is above the limit %.2g",
                           line->lower95, limit);
    }
}

// A node stands out when even its lower bound, shared among all nodes, is above the upper bound of
// all the others together.
static void judge_node(const struct lw_link_result *result, const struct lw_link_node *node,
                       struct lw_findings *findings)
{
    double confidence = lw_decide_confidence((unsigned)result->nodes.count);
    double errors = errors_of(node);
    double other_polls = result->line.polls - node->polls;
    double other_errors = result->line.errors - errors;
    struct lw_interval own, others;
    if (is_silent(node) || errors < 2 || other_polls < 1 ||
        lw_interval_clopper_pearson(LW_ONE_SIDED, confidence, (uint64_t)errors,
                                    (uint64_t)node->polls, &own, NULL) != LW_OK ||
        lw_interval_clopper_pearson(LW_ONE_SIDED, 0.95, (uint64_t)other_errors,
                                    (uint64_t)other_polls, &others, NULL) != LW_OK ||
        own.low <= others.high) {
        return;
    }
    struct lw_finding *finding =
        lw_findings_add(findings, "link_node_differs", LW_ATTENTION,
                        "%s has %.0f errors in %.0f polls, all others together %.0f in %.0f",
                        node->node != NULL ? node->node : "the node", errors, node->polls,
                        other_errors, other_polls);
    if (finding != NULL) {
        finding->value = node->error_rate;
        finding->unit = lw_duplicate("1");
    }
    lw_finding_because(findings, finding, "silent %.0f, damaged %.0f, wrong %.0f", node->no_answer,
                       node->crc_error, node->wrong_answer);
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
}

static struct lw_finding *node_finding(struct lw_findings *findings, const char *code,
                                       enum lw_verdict severity, const struct lw_link_node *node,
                                       const char *says)
{
    struct lw_finding *finding = lw_findings_add(
        findings, code, severity, "%s %s", node->node != NULL ? node->node : "the node", says);
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
    return finding;
}

// What the adapter may have kept is no proof against the node.
static void judge_speed(const struct lw_link_result *result, const struct lw_link_node *node,
                        double limit_ms, struct lw_findings *findings)
{
    char says[200];
    if (!(node->reply_ms.p95 > limit_ms)) {
        return;
    }
    bool proved = node->reply_ms.p95 - result->late_ms > limit_ms;
    lw_print(says, sizeof says, "takes %.1f ms for 95 of 100 replies, allowed are %.1f ms",
             node->reply_ms.p95, limit_ms);
    struct lw_finding *finding =
        node_finding(findings, "link_reply_slow", proved ? LW_FAIL : LW_UNDECIDED, node, says);
    if (finding != NULL) {
        finding->value = node->reply_ms.p95;
        finding->limit = limit_ms;
        finding->unit = lw_duplicate("ms");
    }
    if (!proved) {
        lw_finding_because(findings, finding,
                           "the adapter may have kept each answer for up to %.1f ms: lower its "
                           "latency timer (linewalk ports), or use another adapter",
                           result->late_ms);
    }
}

// Those that are silent in a row are told together.
static void judge_silent(const struct lw_plan *plan, const struct lw_link_result *result,
                         struct lw_findings *findings)
{
    const struct lw_link_node *nodes = result->nodes.items;
    size_t count = plan != NULL ? lw_plan_taps(plan) : 0;
    enum lw_silent_tap *taps = calloc(count + 1, sizeof *taps);
    if (taps == NULL) {
        findings->failed = true;
        return;
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].tap > 0 && (size_t)nodes[i].tap <= count) {
            taps[nodes[i].tap - 1] = is_silent(&nodes[i]) ? LW_TAP_SILENT : LW_TAP_ANSWERS;
        }
    }
    if (plan != NULL) {
        lw_silent_findings(plan, taps, NULL, findings);
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        bool told = nodes[i].tap > 0 && (size_t)nodes[i].tap <= count &&
                    taps[nodes[i].tap - 1] == LW_TAP_TOLD;
        if (is_silent(&nodes[i]) && !told) {
            char says[80];
            lw_print(says, sizeof says, "answers none of %.0f polls", nodes[i].polls);
            node_finding(findings, "link_silent", LW_FAIL, &nodes[i], says);
        }
    }
    free(taps);
}

static void judge_answers(const struct lw_plan *plan, const struct lw_link_result *result,
                          const struct lw_link_node *node, struct lw_findings *findings)
{
    char says[200];
    if (is_silent(node)) {
        return;
    }
    if (node->exception > 0) {
        lw_print(says, sizeof says, "refuses %.0f of %.0f requests", node->exception, node->polls);
        node_finding(findings, "link_exceptions", LW_ATTENTION, node, says);
    }
    double limit_ms =
        plan != NULL && node->tap > 0 ? lw_plan_limits(plan, (size_t)node->tap).reply_ms : NAN;
    judge_speed(result, node, limit_ms, findings);
}

static void judge_bursts(const struct lw_plan *plan, const struct lw_link_result *result,
                         struct lw_findings *findings)
{
    double limit = plan != NULL ? plan->limits.bursts_per_h : NAN;
    if (result->line.bursts == 0 || (isfinite(limit) && result->line.bursts_per_h <= limit)) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        findings, "link_bursts", isfinite(limit) ? LW_FAIL : LW_ATTENTION,
        "%.0f burst%s of errors in %.0f s, %.0f errors in the worst second", result->line.bursts,
        result->line.bursts == 1 ? "" : "s", result->elapsed_s, result->line.worst_second);
    if (finding != NULL) {
        finding->value = result->line.bursts_per_h;
        finding->limit = limit;
        finding->unit = lw_duplicate("1/h");
    }
}

static size_t count_silent(const struct lw_link_result *result)
{
    const struct lw_link_node *nodes = result->nodes.items;
    size_t silent = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        silent += is_silent(&nodes[i]);
    }
    return silent;
}

static void judge_cycle(const struct lw_plan *plan, const struct lw_link_result *result,
                        struct lw_findings *findings)
{
    double wanted_ms = plan != NULL ? plan->line.wanted_cycle_ms : NAN;
    if (!(result->longest_cycle_ms > wanted_ms)) {
        return;
    }
    struct lw_finding *finding = lw_findings_add(
        findings, "link_cycle", LW_ATTENTION, "the longest round took %.0f ms, wanted are %.0f ms",
        result->longest_cycle_ms, wanted_ms);
    if (finding != NULL) {
        finding->value = result->longest_cycle_ms;
        finding->limit = wanted_ms;
        finding->unit = lw_duplicate("ms");
    }
    lw_finding_because(findings, finding,
                       "half of the rounds took %.0f ms; wire and nodes alone take %.0f ms",
                       result->cycle_ms, result->wire_cycle_ms);
    if (result->late_ms >= 1) {
        lw_finding_because(findings, finding,
                           "the adapter may have kept each answer for up to %.1f ms: a controller "
                           "without that delay is faster",
                           result->late_ms);
    }
    size_t silent = count_silent(result);
    if (silent > 0) {
        lw_finding_because(findings, finding, "%zu silent node%s waited for in such a round",
                           silent, silent == 1 ? " is" : "s are");
    }
}

void lw_link_findings(const struct lw_plan *plan, const struct lw_link_result *result,
                      struct lw_rule *rule, struct lw_findings *findings)
{
    *rule = (struct lw_rule){.confidence = 0.95, .corrected_for = 1};
    if (result->nodes.count == 0) {
        lw_findings_add(findings, "link_no_data", LW_NOT_TESTED, "there is nobody to poll");
        return;
    }
    judge_rate(plan, result, findings);
    judge_silent(plan, result, findings);
    const struct lw_link_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        judge_answers(plan, result, &nodes[i], findings);
        judge_node(result, &nodes[i], findings);
    }
    judge_bursts(plan, result, findings);
    if (count_silent(result) < result->nodes.count) { // a round of time-outs says nothing of speed
        judge_cycle(plan, result, findings);
    }
}
