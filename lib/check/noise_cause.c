// SPDX-License-Identifier: GPL-3.0-or-later
//
// One word for what a node's readings show: the first that applies, from what makes the others
// meaningless to what only adds to them.
#include "base/words.h"
#include "check/noise_inside.h"
#include "stats/quantile.h"

#include <string.h>

enum { FEWEST_OUTLIERS = 2 };

// The probability of four standard deviations of a normal number, one side.
static const double surely = 3.167e-5;

// A slope that is surely there, by Student with what slow noise leaves of the readings, and that
// may be, within two standard uncertainties, over the run as large as the limit.
static bool drifts(const struct lw_noise_node *node)
{
    double reach = INFINITY;
    double dof = fmax(node->effective_n_mean - 2, 1);
    if (!(node->drift_u_per_s > 0) || !(node->effective_n_mean > 2) ||
        lw_quantile_t(LW_TAIL_ABOVE, surely, dof, &reach, NULL) != LW_OK) {
        return false;
    }
    double most_per_s = fabs(node->drift_per_s) + 2 * node->drift_u_per_s;
    return fabs(node->drift_per_s) > reach * node->drift_u_per_s &&
           most_per_s * node->duration_s > node->limit;
}

// Single readings far off: some, or fewer that make the spread what it is.
static bool has_spikes(const struct lw_noise_node *node)
{
    return node->outliers >= FEWEST_OUTLIERS ||
           (node->outliers > 0 && node->stdev > 2 * node->robust_stdev && node->robust_stdev > 0);
}

// A tone that carries half of the variance is what the spread is made of.
static const char *tone_cause(const struct lw_noise_node *node)
{
    const struct lw_noise_tone *tones = node->tones.items;
    double power = 0;
    for (size_t i = 0; i < node->tones.count; i++) {
        power += tones[i].amplitude * tones[i].amplitude / 2;
    }
    if (node->tones.count == 0 || power < node->stdev * node->stdev / 2 || tones[0].name == NULL) {
        return NULL;
    }
    return strncmp(tones[0].name, "mains", 5) == 0   ? N_("mains")
           : strcmp(tones[0].name, "vibration") == 0 ? N_("vibration")
                                                     : N_("tone");
}

const char *lw_noise_cause(const struct lw_noise_node *node, bool stuck)
{
    const char *tone = tone_cause(node);
    if (!(node->n >= 2)) {
        return N_("no_data");
    }
    if (node->loop_failed > 0.5) {
        return N_("loop failed");
    }
    if (node->at_range_end > 0.5) {
        return N_("saturated");
    }
    if (stuck) {
        return N_("stuck");
    }
    if (node->count_jumps > 0) {
        return N_("counts lost");
    }
    if (node->jumps != LW_NOISE_STEADY) {
        return node->jumps == LW_NOISE_STEP ? N_("step") : N_("loose contact");
    }
    if (tone != NULL) {
        return tone;
    }
    if (drifts(node)) {
        return N_("drift");
    }
    if (has_spikes(node)) {
        return N_("spikes");
    }
    return node->verdict == LW_FAIL ? N_("unexplained") : N_("quiet");
}
