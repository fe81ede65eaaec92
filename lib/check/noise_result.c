// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the noise check says: its JSON shape and its findings.
#include "base/number.h"
#include "base/unit.h"
#include "check/noise.h"

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};

static const struct lw_field tone_fields[] = {
    {LW_AT(struct lw_noise_tone, frequency_hz), .kind = LW_NUMBER, .says = "of the tone"},
    {LW_AT(struct lw_noise_tone, amplitude), .kind = LW_NUMBER, .says = "peak, in `unit`"},
    {LW_AT(struct lw_noise_tone, amplitude_u), .kind = LW_NUMBER,
     .says = "standard uncertainty of the amplitude, in `unit`"},
    {LW_AT(struct lw_noise_tone, false_alarm), .kind = LW_NUMBER,
     .says = "probability that noise alone gives as much"},
    {0},
};
static const struct lw_shape tone_shape = {
    .name = "noise_tone", .size = sizeof(struct lw_noise_tone), .fields = tone_fields};

#define NUMBER(member, sentence)                                                                   \
    {                                                                                              \
        LW_AT(struct lw_noise_node, member), .kind = LW_NUMBER, .nullable = true, .says = sentence \
    }

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_noise_node, node), .kind = LW_TEXT, .required = true, .says = "name"},
    {LW_AT(struct lw_noise_node, place), .kind = LW_TEXT, .says = "where it sits in the machine"},
    {LW_AT(struct lw_noise_node, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(struct lw_noise_node, address), .kind = LW_INTEGER, .says = "address; 0: none"},
    {LW_AT(struct lw_noise_node, unit), .kind = LW_TEXT, .says = "of all values of this node"},
    {LW_AT(struct lw_noise_node, n), .kind = LW_NUMBER, .says = "readings"},
    NUMBER(mean, "mean"),
    NUMBER(stdev, "standard deviation about a straight drift line; the limit is held against it"),
    NUMBER(stdev_low95, "one-sided 95 % lower bound"),
    NUMBER(stdev_high95, "one-sided 95 % upper bound; null: none"),
    NUMBER(robust_stdev, "1.4826 times the median absolute deviation"),
    NUMBER(limit, "the limit; null: none"),
    NUMBER(peak_to_peak, "where the limit is one of peak to peak"),
    NUMBER(drift_per_s, "slope"),
    NUMBER(drift_u_per_s, "its standard uncertainty"),
    NUMBER(outliers, "readings far from their neighbours"),
    NUMBER(lag1, "autocorrelation of neighbouring readings, without drift"),
    NUMBER(effective_n_mean, "independent readings that these are worth for the mean"),
    NUMBER(effective_n_spread, "independent readings that these are worth for the spread"),
    NUMBER(update_ms, "the node's own update interval, from its profile"),
    NUMBER(repeats, "readings taken again before the node had a new one"),
    NUMBER(longest_run, "equal readings in a row"),
    NUMBER(resolution, "smallest step"),
    NUMBER(duration_s, "first reading to last, seconds"),
    NUMBER(n_to_decide, "readings at which the spread as it stands would decide"),
    NUMBER(times_its_kind, "spread over the median of the others of its profile"),
    {LW_AT(struct lw_noise_node, disturbed), .kind = LW_BOOLEAN,
     .says = "spread proved to be more than twice that of its kind"},
    {LW_AT(struct lw_noise_node, tones), .kind = LW_LIST, .sub = &tone_shape,
     .says = "tones found"},
    {LW_AT(struct lw_noise_node, cause), .kind = LW_TEXT,
     .says = "quiet, mains, drift, stuck, spikes, unexplained or no_data"},
    {LW_AT(struct lw_noise_node, verdict), .kind = LW_CHOICE, .names = verdict_words,
     .says = "spread against limit"},
    {LW_AT(struct lw_noise_node, trace_time_s), .kind = LW_NUMBERS,
     .says = "at most 400 readings for a picture: their times"},
    {LW_AT(struct lw_noise_node, trace_value), .kind = LW_NUMBERS, .says = "and their values"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "noise_node", .size = sizeof(struct lw_noise_node), .fields = node_fields};
const struct lw_shape *const lw_noise_node_shape = &node_shape;

static const struct lw_field noise_fields[] = {
    {LW_AT(struct lw_noise_result, unit), .kind = LW_TEXT, .nullable = true,
     .says = "of all nodes, when they share one"},
    {LW_AT(struct lw_noise_result, state), .kind = LW_TEXT, .nullable = true,
     .says = "state of the machine meanwhile"},
    {LW_AT(struct lw_noise_result, seconds), .kind = LW_NUMBER, .says = "first reading to last"},
    {LW_AT(struct lw_noise_result, nodes), .kind = LW_LIST, .sub = &node_shape, .says = "by tap"},
    {0},
};
const struct lw_shape lw_noise_shape = {
    .name = "noise", .size = sizeof(struct lw_noise_result), .fields = noise_fields};

static struct lw_finding *found(struct lw_findings *findings, const char *code,
                                enum lw_verdict severity, const struct lw_noise_node *node,
                                const char *says)
{
    struct lw_finding *finding =
        lw_findings_add(findings, code, severity, "%s %s", node->node, says);
    lw_finding_node(findings, finding, node->node, (size_t)node->tap, node->address);
    return finding;
}

// A number with its unit, for a sentence.
static const char *with_unit(double value, const struct lw_noise_node *node, char text[48])
{
    char number[LW_NUMBER_TEXT];
    lw_number_for_people(value, NAN, number);
    lw_print(text, 48, "%s %s", number, node->unit != NULL ? lw_unit_shown(node->unit, true) : "");
    return text;
}

static void fill_limit(struct lw_finding *finding, const struct lw_noise_node *node)
{
    if (finding != NULL) {
        finding->value = isfinite(node->peak_to_peak) ? node->peak_to_peak : node->stdev;
        finding->limit = node->limit;
        finding->unit = lw_duplicate(node->unit);
    }
}

static void say_tones(struct lw_findings *findings, struct lw_finding *finding,
                      const struct lw_noise_node *node)
{
    const struct lw_noise_tone *tones = node->tones.items;
    char text[48];
    for (size_t i = 0; i < node->tones.count; i++) {
        lw_finding_because(findings, finding, "%.2f Hz with an amplitude of %s",
                           tones[i].frequency_hz, with_unit(tones[i].amplitude, node, text));
    }
    if (node->times_its_kind > 1.5) {
        lw_finding_because(findings, finding, "its spread is %.1f times the usual one of its kind",
                           node->times_its_kind);
    }
}

static void judge_limit(const struct lw_noise_node *node, struct lw_findings *findings)
{
    char says[240], a[48], b[48];
    bool peak = isfinite(node->peak_to_peak);
    if (node->verdict == LW_FAIL && strcmp(node->cause, "stuck") != 0) {
        lw_print(says, sizeof says, "%s %s, the limit is %s",
                 peak ? "wanders by" : "has a standard deviation of",
                 with_unit(peak ? node->peak_to_peak : node->stdev, node, a),
                 with_unit(node->limit, node, b));
        struct lw_finding *finding = found(findings, "noise_over_limit", LW_FAIL, node, says);
        fill_limit(finding, node);
        if (!peak) {
            lw_finding_because(findings, finding, "the 95 %% lower bound %s is above the limit",
                               with_unit(node->stdev_low95, node, a));
        }
        say_tones(findings, finding, node);
    } else if (node->verdict == LW_UNDECIDED) {
        lw_print(says, sizeof says, "may or may not keep its limit of %s: %s from %.0f readings",
                 with_unit(node->limit, node, a), with_unit(node->stdev, node, b), node->n);
        struct lw_finding *finding = found(findings, "noise_undecided", LW_UNDECIDED, node, says);
        fill_limit(finding, node);
        if (isfinite(node->n_to_decide)) {
            lw_finding_because(findings, finding, "about %.0f readings would decide",
                               ceil(node->n_to_decide));
        }
    }
}

static void judge_marks(const struct lw_noise_node *node, struct lw_findings *findings)
{
    const struct lw_noise_tone *tones = node->tones.items;
    char says[240], a[48];
    if (strcmp(node->cause, "stuck") == 0) {
        lw_print(says, sizeof says, "gave the same reading %.0f times in a row", node->longest_run);
        found(findings, "noise_stuck", LW_FAIL, node, says);
        return;
    }
    if (node->disturbed) {
        lw_print(says, sizeof says, "is %.1f times as noisy as the others of its kind",
                 node->times_its_kind);
        struct lw_finding *finding = found(findings, "noise_disturbed", LW_ATTENTION, node, says);
        fill_limit(finding, node);
        if (node->verdict != LW_FAIL) { // else its reasons stand with the limit already
            say_tones(findings, finding, node);
        }
    } else if (node->tones.count > 0 && tones[0].amplitude > 0.7 * node->limit) {
        lw_print(says, sizeof says, "carries %.2f Hz with an amplitude of %s",
                 tones[0].frequency_hz, with_unit(tones[0].amplitude, node, a));
        found(findings, "noise_mains", LW_ATTENTION, node, says);
    }
    if (strcmp(node->cause, "drift") == 0) {
        lw_print(says, sizeof says, "drifts by %s in %.0f s",
                 with_unit(node->drift_per_s * node->duration_s, node, a), node->duration_s);
        found(findings, "noise_drift", LW_ATTENTION, node, says);
    }
    if (strcmp(node->cause, "spikes") == 0) {
        lw_print(says, sizeof says, "has %.0f single readings far off in %.0f", node->outliers,
                 node->n);
        found(findings, "noise_outliers", LW_ATTENTION, node, says);
    }
}

void lw_noise_findings(const struct lw_noise_result *result, struct lw_findings *findings)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    if (result->nodes.count == 0) {
        lw_findings_add(findings, "noise_no_data", LW_NOT_TESTED, "there are no readings to judge");
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_noise_node *node = &nodes[i];
        if (node->n < 2) {
            found(findings, "noise_no_data", LW_NOT_TESTED, node,
                  node->n > 0 ? "gave one reading only" : "gave no reading");
        } else if (!isfinite(node->limit)) {
            found(findings, "noise_no_limit", LW_NOT_TESTED, node, "has no limit to be held to");
        }
        if (node->n >= 2) {
            judge_limit(node, findings);
            judge_marks(node, findings);
        }
    }
}
