// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the noise check finds, said: a finding for each fact that somebody has to know or act on.
#include "base/number.h"
#include "base/unit.h"
#include "base/words.h"
#include "check/noise.h"

// An air gauge's feed is held to 1 % by the regulator that belongs to it (common practice).
static const double feed_holds = 0.01;

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

// The node may have made another frequency of the true one before it was asked.
static const char *apparent(const struct lw_noise_tone *tone, char *text, size_t size)
{
    const double *may_be = tone->may_be.items;
    text[0] = '\0';
    if (tone->may_be.count == 0 || strncmp(tone->name, "mains", 5) == 0) {
        return text;
    }
    lw_print(text, size, "; apparent, the true one may be");
    for (size_t i = 0; i < tone->may_be.count; i++) {
        size_t used = strlen(text);
        lw_print(text + used, size - used, "%s %.4g", i > 0 ? "," : "", may_be[i]);
    }
    size_t used = strlen(text);
    lw_print(text + used, size - used, " Hz");
    return text;
}

static void say_tones(struct lw_findings *findings, struct lw_finding *finding,
                      const struct lw_noise_node *node)
{
    const struct lw_noise_tone *tones = node->tones.items;
    char text[48];
    for (size_t i = 0; i < node->tones.count; i++) {
        char also[80];
        lw_finding_because(findings, finding, "%s: %.2f Hz with an amplitude of %s%s",
                           tones[i].name, tones[i].frequency_hz,
                           with_unit(tones[i].amplitude, node, text),
                           apparent(&tones[i], also, sizeof also));
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
                 peak ? N_("wanders by") : N_("has a standard deviation of"),
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
                 with_unit(node->limit, node, a),
                 isfinite(node->stdev) ? with_unit(node->stdev, node, b) : N_("no spread"),
                 node->n);
        struct lw_finding *finding = found(findings, "noise_undecided", LW_UNDECIDED, node, says);
        fill_limit(finding, node);
        if (isfinite(node->n_to_decide)) {
            lw_finding_because(
                findings, finding, "about %.0f readings would decide, %.0f s at this rate",
                ceil(node->n_to_decide), ceil(node->n_to_decide / node->n * node->duration_s));
        } else if (node->below_resolution) {
            lw_finding_because(findings, finding, "its steps of %s hide the noise, however long",
                               with_unit(node->resolution, node, a));
        }
    }
}

static void judge_tones(const struct lw_noise_node *node, struct lw_findings *findings)
{
    const struct lw_noise_tone *tones = node->tones.items;
    char says[240], a[48], also[80];
    if (node->disturbed) {
        lw_print(says, sizeof says, "is %.1f times as noisy as the others of its kind",
                 node->times_its_kind);
        struct lw_finding *finding = found(findings, "noise_disturbed", LW_ATTENTION, node, says);
        fill_limit(finding, node);
        if (node->verdict != LW_FAIL) { // else its reasons stand with the limit already
            say_tones(findings, finding, node);
        }
    } else if (node->tones.count > 0 && tones[0].amplitude > 0.7 * node->limit) {
        bool mains = strncmp(tones[0].name, "mains", 5) == 0;
        lw_print(says, sizeof says, "carries %.2f Hz with an amplitude of %s%s",
                 tones[0].frequency_hz, with_unit(tones[0].amplitude, node, a),
                 apparent(&tones[0], also, sizeof also));
        found(findings, mains ? "noise_mains" : "noise_tone", LW_ATTENTION, node, says);
    }
}

// Readings that say nothing about the noise, whatever their spread; true when they are such.
static bool judge_dead(const struct lw_noise_node *node, struct lw_findings *findings)
{
    char says[240];
    if (strcmp(node->cause, "loop failed") == 0) {
        lw_print(says, sizeof says,
                 "carries a current that a live transmitter does not, in %.0f %% of the readings "
                 "(NAMUR NE 43: at most 3.6 or at least 21 mA)",
                 100 * node->loop_failed);
        found(findings, "noise_loop_failed", LW_FAIL, node, says);
    } else if (strcmp(node->cause, "saturated") == 0) {
        lw_print(says, sizeof says, "stands %s the end of its range in %.0f %% of the readings",
                 node->beyond_range ? "beyond" : "at", 100 * node->at_range_end);
        found(findings, "noise_saturated", node->beyond_range ? LW_FAIL : LW_NOT_TESTED, node,
              says);
    } else if (strcmp(node->cause, "stuck") == 0) {
        lw_print(says, sizeof says, "gave the same reading %.0f times in a row", node->longest_run);
        found(findings, "noise_stuck", LW_FAIL, node, says);
    } else {
        return false;
    }
    return true;
}

static void judge_jumps(const struct lw_noise_node *node, struct lw_findings *findings)
{
    char says[240], a[48];
    if (node->count_jumps > 0) {
        lw_print(says, sizeof says, "moved by more than a count %.0f times and stayed, at rest",
                 node->count_jumps);
        found(findings, "noise_counts_lost", LW_FAIL, node, says);
    } else if (node->jumps == LW_NOISE_TELEGRAPH) {
        lw_print(says, sizeof says, "jumps to and fro between two levels %s apart, %.0f times",
                 with_unit(node->jump_step, node, a), node->jump_switches);
        found(findings, "noise_jumps", node->jump_step < node->limit ? LW_ATTENTION : LW_FAIL, node,
              says);
    } else if (node->jumps == LW_NOISE_STEP) {
        lw_print(says, sizeof says, "moved once by %s and stayed there",
                 with_unit(node->jump_step, node, a));
        found(findings, "noise_step", LW_ATTENTION, node, says);
    }
}

static void judge_side(const struct lw_noise_node *node, struct lw_findings *findings)
{
    char says[240];
    double middle = (node->pressure_low_kpa + node->pressure_high_kpa) / 2;
    double varies = (node->pressure_high_kpa - node->pressure_low_kpa) / middle;
    if (varies > feed_holds) {
        lw_print(says, sizeof says, "is fed with %.4g to %.4g kPa, %.1f %% apart",
                 node->pressure_low_kpa, node->pressure_high_kpa, 100 * varies);
        found(findings, "noise_feed_pressure", LW_ATTENTION, node, says);
    }
    if (node->loop_guard > 0 && !(node->loop_failed > 0.5)) {
        lw_print(says, sizeof says,
                 "is outside 3.8 to 20.5 mA in %.2g %% of the readings, where a loop neither "
                 "measures nor fails (NAMUR NE 43)",
                 100 * node->loop_guard);
        found(findings, "noise_loop_guard", LW_ATTENTION, node, says);
    }
}

static void judge_marks(const struct lw_noise_node *node, struct lw_findings *findings)
{
    char says[240], a[48];
    if (judge_dead(node, findings)) {
        return;
    }
    judge_jumps(node, findings);
    judge_tones(node, findings);
    judge_side(node, findings);
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

static void judge_source(const struct lw_noise_node *node, const char *source,
                         struct lw_findings *findings)
{
    char says[240], a[48], b[48];
    if (node->response == NULL) {
        return;
    }
    bool both = strcmp(node->response, "both") == 0;
    if (both || strcmp(node->response, "steady") == 0) {
        lw_print(says, sizeof says, "reads %s %s with '%s' on (standard uncertainty %s)",
                 with_unit(fabs(node->shift), node, a), node->shift > 0 ? "higher" : "lower",
                 source, with_unit(node->shift_u, node, b));
        struct lw_finding *finding =
            found(findings, "noise_source_steady", LW_ATTENTION, node, says);
        lw_finding_because(findings, finding,
                           both ? N_("a steady and an alternating field")
                                : "a steady field: its noise stays as it was");
    }
    if (both || strcmp(node->response, "alternating") == 0) {
        lw_print(says, sizeof says, "has %.2f times the noise with '%s' on (95 %%: %.2f to %.2f)",
                 node->ratio, source, node->ratio_low95, node->ratio_high95);
        found(findings, "noise_source_alternating", LW_ATTENTION, node, says);
    }
}

static const struct lw_noise_node *named(const struct lw_noise_result *result, const char *name)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    for (size_t i = 0; name != NULL && i < result->nodes.count; i++) {
        if (strcmp(nodes[i].node, name) == 0) {
            return &nodes[i];
        }
    }
    return NULL;
}

// Worth walking for: it fills the limit at the node that has most of it, or a node fails.
static const struct lw_noise_node *worth(const struct lw_noise_result *result,
                                         const struct lw_noise_along *along)
{
    const struct lw_noise_heard *heard = along->nodes.items, *most = heard;
    for (size_t i = 0; i < along->nodes.count; i++) {
        most = heard[i].size > most->size ? &heard[i] : most;
    }
    const struct lw_noise_node *node = along->nodes.count > 0 ? named(result, most->node) : NULL;
    return node != NULL && (most->size > 0.7 * node->limit || node->verdict == LW_FAIL) ? node
                                                                                        : NULL;
}

static const char *what_it_is(const struct lw_noise_along *along, char *text, size_t size)
{
    if (strcmp(along->what, "tone") == 0) {
        lw_print(text, size, "%.2f Hz", along->frequency_hz);
    } else {
        lw_copy(text, size,
                strcmp(along->what, "steps") == 0   ? N_("one pattern of steps")
                : strcmp(along->what, "shift") == 0 ? N_("the shift by the source")
                                                    : "noise beyond that of its kind");
    }
    return text;
}

static void say_common(const struct lw_noise_along *along, const char *what,
                       struct lw_findings *findings)
{
    struct lw_finding *finding = lw_findings_add(findings, "noise_common", LW_ATTENTION,
                                                 "%s is about alike at all %zu nodes of '%s'", what,
                                                 along->nodes.count, along->kind);
    if (along->in_step > 0.8) {
        lw_finding_because(findings, finding,
                           "in step: phases agree, or are opposite, at %.0f %% of the others",
                           100 * along->in_step);
    }
}

static void say_near(const struct lw_noise_along *along, const char *what,
                     const struct lw_noise_node *node, struct lw_findings *findings)
{
    const double *mm = along->place_mm.items;
    char says[240];
    const struct lw_noise_node *at = node;
    if (along->strongest != NULL) {
        lw_print(says, sizeof says, "has the most of %s, %.1f times the next", what,
                 along->times_next);
    } else {
        lw_print(says, sizeof says, "is among those that have the most of %s", what);
    }
    struct lw_finding *finding = found(findings, "noise_near", LW_ATTENTION, at, says);
    if (along->nearest != NULL && along->place_mm.count == 3) {
        lw_finding_because(findings, finding,
                           "by its fall-off among '%s' the source is nearest to %s, about x %.0f, "
                           "y %.0f, z %.0f mm (%s%.0f %%)",
                           along->kind, along->nearest, mm[0], mm[1], mm[2],
                           along->confidence > 0.99 ? N_("over ") : "",
                           fmin(99, 100 * along->confidence));
    }
}

static void judge_along(const struct lw_noise_result *result, struct lw_findings *findings)
{
    const struct lw_noise_along *along = result->along.items;
    for (size_t i = 0; i < result->along.count; i++) {
        const struct lw_noise_node *node = worth(result, &along[i]);
        char what[80];
        what_it_is(&along[i], what, sizeof what);
        if (node != NULL && along[i].pattern == LW_NOISE_COMMON) {
            say_common(&along[i], what, findings);
        } else if (node != NULL && along[i].pattern == LW_NOISE_NEAR) {
            say_near(&along[i], what, node, findings);
        }
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
                  node->n > 0 ? N_("gave one reading only") : N_("gave no reading"));
        } else if (!isfinite(node->limit)) {
            found(findings, "noise_no_limit", LW_NOT_TESTED, node, "has no limit to be held to");
        }
        if (node->n >= 2) {
            judge_limit(node, findings);
            judge_marks(node, findings);
            judge_source(node, result->source, findings);
        }
    }
    judge_along(result, findings);
}
