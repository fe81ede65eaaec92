// SPDX-License-Identifier: GPL-3.0-or-later
//
// One disturbance over many nodes: a tone that several carry, a step that several make at one time.
// How large it is at each node says more than any node alone: what comes with the supply or the
// earth is alike at all, what stands beside the machine is strong at one place and falls off.
// Compared are nodes of one profile only; another kind hears the same source differently.
#include "check/noise_inside.h"
#include "stats/spectrum.h"

#include <string.h>

enum { FEWEST_NODES = 3, FEWEST_READINGS = 16, MOST_TONES = 3 };

static const double pi = 3.14159265358979323846;

struct chain {
    struct lw_noise_judging *judging;
    const struct lw_profile *profile;
    struct lw_noise_along *along; // under work
    double *residual;
    // Of a step: the levels of the node that made the largest, 0 and 1, at its times.
    double *step_s, *step;
    size_t steps;
};

static const struct lw_noise_node *node_at(const struct lw_noise_judging *judging, size_t i)
{
    return (const struct lw_noise_node *)judging->result->nodes.items + i;
}

static const struct lw_profile *profile_at(const struct lw_noise_judging *judging, size_t i)
{
    const struct lw_chain_entry *entry =
        judging->plan != NULL ? lw_plan_tap(judging->plan, (size_t)node_at(judging, i)->tap) : NULL;
    return entry != NULL ? entry->is : NULL;
}

static bool takes_part(const struct chain *chain, size_t i)
{
    const struct lw_noise_node *node = node_at(chain->judging, i);
    return profile_at(chain->judging, i) == chain->profile && node->n >= FEWEST_READINGS &&
           node->stdev > 0 && node->at_range_end < 0.5;
}

static struct lw_noise_heard *add_heard(struct chain *chain, const struct lw_noise_node *node)
{
    struct lw_noise_heard *heard = lw_list_add(&chain->along->nodes, sizeof *heard);
    if (heard != NULL) {
        *heard = (struct lw_noise_heard){
            .node = lw_duplicate(node->node), .tap = node->tap, .phase_rad = NAN};
    }
    return heard;
}

// The node's readings again, with their drift taken off.
static enum lw_status readings_of(struct chain *chain, size_t i, size_t *n)
{
    struct lw_noise_judging *judging = chain->judging;
    struct lw_noise_case one;
    struct lw_noise_node scratch;
    int index = lw_series_find(judging->series, node_at(judging, i)->node);
    enum lw_status status = lw_noise_gather(judging, index, &one, &scratch);
    lw_json_free(lw_noise_node_shape, &scratch);
    *n = one.n;
    if (status == LW_OK) {
        lw_line_residuals(judging->time_s, judging->value, one.n, chain->residual);
    }
    return status;
}

// Amplitude and phase at the one frequency, phase in the middle of the run: there it depends least
// on how well the frequency is known.
static void fit_tone(const struct chain *chain, size_t n, struct lw_noise_heard *heard)
{
    struct lw_noise_judging *judging = chain->judging;
    double middle_s = judging->result->seconds / 2;
    struct lw_tone tone;
    for (size_t k = 0; k < n; k++) {
        judging->time_s[k] -= middle_s;
    }
    if (lw_tone_fit(judging->time_s, chain->residual, n, chain->along->frequency_hz, &tone, NULL) ==
        LW_OK) {
        heard->size = tone.amplitude;
        heard->size_u = tone.amplitude_u;
        heard->phase_rad = tone.phase_rad;
    }
}

static double level_then(const struct chain *chain, double time_s)
{
    size_t low = 0, high = chain->steps;
    while (high - low > 1) {
        size_t middle = (low + high) / 2;
        *(chain->step_s[middle] <= time_s ? &low : &high) = middle;
    }
    return chain->step[low];
}

// How much of the other node's steps this one makes, by least squares.
static void fit_step(const struct chain *chain, size_t i, size_t n, struct lw_noise_heard *heard)
{
    const struct lw_noise_judging *judging = chain->judging;
    double mean = 0, value = 0, ss = 0, sv = 0, vv = 0;
    for (size_t k = 0; k < n; k++) {
        mean += level_then(chain, judging->time_s[k]) / (double)n;
        value += judging->value[k] / (double)n;
    }
    for (size_t k = 0; k < n; k++) {
        double s = level_then(chain, judging->time_s[k]) - mean, v = judging->value[k] - value;
        ss += s * s;
        sv += s * v;
        vv += v * v;
    }
    if (ss > 0 && n > 2) {
        const struct lw_noise_node *node = node_at(judging, i);
        double alike = node->jumps == LW_NOISE_STEADY ? (double)n / node->effective_n_mean : 1;
        heard->size = fabs(sv / ss);
        heard->size_u = sqrt(fmax(vv - sv * sv / ss, 0) / (double)(n - 2) / ss * fmax(alike, 1));
    }
}

static enum lw_status hear_all(struct chain *chain, bool tone)
{
    for (size_t i = 0; i < chain->judging->result->nodes.count; i++) {
        size_t n = 0;
        if (!takes_part(chain, i)) {
            continue;
        }
        struct lw_noise_heard *heard = add_heard(chain, node_at(chain->judging, i));
        if (heard == NULL) {
            return lw_fail(chain->judging->error, LW_MEMORY, "no memory for a disturbance");
        }
        enum lw_status status = readings_of(chain, i, &n);
        if (status != LW_OK) {
            return status;
        }
        if (tone) {
            fit_tone(chain, n, heard);
        } else {
            fit_step(chain, i, n, heard);
        }
    }
    return LW_OK;
}

static enum lw_status begin_along(struct chain *chain, const char *what, double frequency_hz)
{
    chain->along = lw_list_add(&chain->judging->result->along, sizeof *chain->along);
    if (chain->along == NULL) {
        return lw_fail(chain->judging->error, LW_MEMORY, "no memory for a disturbance");
    }
    *chain->along = (struct lw_noise_along){.kind = lw_duplicate(chain->profile->name),
                                            .what = lw_duplicate(what),
                                            .frequency_hz = frequency_hz,
                                            .in_step = NAN,
                                            .times_next = NAN,
                                            .confidence = NAN};
    return LW_OK;
}

static void compare_phases(struct lw_noise_along *along)
{
    const struct lw_noise_heard *nodes = along->nodes.items, *most = nodes;
    size_t heard = 0, agree = 0;
    for (size_t i = 0; i < along->nodes.count; i++) {
        most = nodes[i].size > most->size ? &nodes[i] : most;
    }
    for (size_t i = 0; i < along->nodes.count; i++) {
        if (&nodes[i] != most && nodes[i].size > 3 * nodes[i].size_u) {
            heard++;
            agree += fabs(sin(nodes[i].phase_rad - most->phase_rad)) < sin(pi / 6);
        }
    }
    along->in_step = heard > 0 ? (double)agree / (double)heard : (double)NAN;
}

static enum lw_status follow_tone(struct chain *chain, double frequency_hz)
{
    enum lw_status status = begin_along(chain, "tone", frequency_hz);
    status = status == LW_OK ? hear_all(chain, true) : status;
    if (status == LW_OK) {
        compare_phases(chain->along);
        status = lw_noise_locate(chain->judging->plan, chain->judging->together, chain->along,
                                 chain->judging->error);
    }
    return status;
}

// The largest tone of any of these nodes that is none of those that were followed already.
static double next_tone(const struct chain *chain, const double *followed, size_t count)
{
    double largest = 0, frequency_hz = NAN;
    for (size_t i = 0; i < chain->judging->result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(chain->judging, i);
        const struct lw_noise_tone *tones = node->tones.items;
        for (size_t k = 0; takes_part(chain, i) && k < node->tones.count; k++) {
            bool seen = false;
            for (size_t j = 0; j < count; j++) {
                seen = seen || fabs(followed[j] - tones[k].frequency_hz) <
                                   3 / chain->judging->result->seconds;
            }
            if (!seen && tones[k].amplitude > largest) {
                largest = tones[k].amplitude;
                frequency_hz = tones[k].frequency_hz;
            }
        }
    }
    return frequency_hz;
}

static enum lw_status follow_tones(struct chain *chain)
{
    double followed[MOST_TONES];
    enum lw_status status = LW_OK;
    for (size_t count = 0; count < MOST_TONES && status == LW_OK; count++) {
        followed[count] = next_tone(chain, followed, count);
        if (!isfinite(followed[count])) {
            break;
        }
        status = follow_tone(chain, followed[count]);
    }
    return status;
}

// The two levels of the node with the largest steps: above or below the middle between the means of
// both groups, found by turns.
static enum lw_status levels_of(struct chain *chain, size_t i)
{
    double low = INFINITY, high = -INFINITY;
    enum lw_status status = readings_of(chain, i, &chain->steps);
    const double *value = chain->judging->value;
    for (size_t k = 0; k < chain->steps; k++) {
        low = fmin(low, value[k]);
        high = fmax(high, value[k]);
    }
    for (int turn = 0; turn < 20; turn++) {
        double below = 0, above = 0, count = 0, middle = (low + high) / 2;
        for (size_t k = 0; k < chain->steps; k++) {
            count += value[k] > middle;
            *(value[k] > middle ? &above : &below) += value[k];
        }
        low = below / ((double)chain->steps - count);
        high = above / count;
    }
    for (size_t k = 0; k < chain->steps; k++) {
        chain->step_s[k] = chain->judging->time_s[k];
        chain->step[k] = value[k] > (low + high) / 2;
    }
    return status;
}

static enum lw_status follow_steps(struct chain *chain)
{
    double largest = 0;
    size_t at = 0;
    for (size_t i = 0; i < chain->judging->result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(chain->judging, i);
        if (takes_part(chain, i) && node->jumps != LW_NOISE_STEADY && node->jump_step > largest) {
            largest = node->jump_step;
            at = i;
        }
    }
    if (!(largest > 0)) {
        return LW_OK;
    }
    enum lw_status status = levels_of(chain, at);
    status = status == LW_OK ? begin_along(chain, "steps", NAN) : status;
    status = status == LW_OK ? hear_all(chain, false) : status;
    return status == LW_OK ? lw_noise_locate(chain->judging->plan, chain->judging->together,
                                             chain->along, chain->judging->error)
                           : status;
}

// Noise without a tone: what a node has more than the middle one of its kind.
static enum lw_status follow_spread(struct chain *chain)
{
    bool any = false;
    for (size_t i = 0; i < chain->judging->result->nodes.count; i++) {
        any = any || (takes_part(chain, i) && node_at(chain->judging, i)->disturbed);
    }
    enum lw_status status = any ? begin_along(chain, "spread", NAN) : LW_OK;
    for (size_t i = 0; any && i < chain->judging->result->nodes.count && status == LW_OK; i++) {
        const struct lw_noise_node *node = node_at(chain->judging, i);
        if (!takes_part(chain, i)) {
            continue;
        }
        struct lw_noise_heard *heard = add_heard(chain, node);
        if (heard == NULL) {
            return lw_fail(chain->judging->error, LW_MEMORY, "no memory for a disturbance");
        }
        double usual = node->stdev / node->times_its_kind;
        double u = node->stdev / sqrt(2 * node->effective_n_spread);
        heard->size = sqrt(fmax(node->stdev * node->stdev - usual * usual, 0));
        heard->size_u = heard->size > u ? u * node->stdev / heard->size : u;
    }
    return any && status == LW_OK ? lw_noise_locate(chain->judging->plan, chain->judging->together,
                                                    chain->along, chain->judging->error)
                                  : status;
}

static enum lw_status follow_kind(struct chain *chain)
{
    size_t before = chain->judging->result->along.count, nodes = 0;
    for (size_t i = 0; i < chain->judging->result->nodes.count; i++) {
        nodes += takes_part(chain, i);
    }
    if (nodes < FEWEST_NODES) {
        return LW_OK;
    }
    enum lw_status status = follow_tones(chain);
    status = status == LW_OK ? follow_steps(chain) : status;
    return status == LW_OK && chain->judging->result->along.count == before ? follow_spread(chain)
                                                                            : status;
}

enum lw_status lw_noise_along_chain(struct lw_noise_judging *judging)
{
    struct chain chain = {.judging = judging};
    size_t room = judging->series->count + 1;
    if (judging->plan == NULL) {
        return LW_OK;
    }
    chain.residual = calloc(3 * room, sizeof *chain.residual);
    if (chain.residual == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for %zu readings", room);
    }
    chain.step_s = chain.residual + room;
    chain.step = chain.step_s + room;
    const struct lw_profile *profiles = judging->plan->profiles.items;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < judging->plan->profiles.count && status == LW_OK; i++) {
        chain.profile = &profiles[i];
        status = follow_kind(&chain);
    }
    free(chain.residual);
    return status;
}
