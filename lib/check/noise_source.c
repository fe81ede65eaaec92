// SPDX-License-Identifier: GPL-3.0-or-later
//
// The source test: what a source that was switched off and on did to each node. A steady field
// shifts the reading and leaves its noise as it was; an alternating one does the reverse.
#include "base/words.h"
#include "check/noise_inside.h"
#include "stats/switched.h"

enum { FOUR = 4, FEWEST = 12 };

static const struct lw_noise_stretch *stretch_at(const struct lw_noise_judging *judging, size_t i)
{
    return (const struct lw_noise_stretch *)judging->options->stretches->items + i;
}

// Two runs stand for four stretches by their halves: off, on, on, off in value, though not in time.
static void window(struct lw_noise_judging *judging, size_t quarter)
{
    bool halves = judging->options->stretches->count < FOUR;
    bool on = quarter == 1 || quarter == 2;
    const struct lw_noise_stretch *one = stretch_at(judging, halves ? on : quarter);
    double middle_s = (one->from_s + one->to_s) / 2;
    bool late = quarter >= 2;
    judging->from_s = halves && late ? middle_s : one->from_s;
    judging->to_s = halves && !late ? middle_s : one->to_s;
}

static enum lw_status spread_in(struct lw_noise_judging *judging, int index,
                                struct lw_spread *spread)
{
    struct lw_noise_case one;
    struct lw_noise_node scratch;
    struct lw_spread_options known = lw_spread_options();
    enum lw_status status = lw_noise_gather(judging, index, &one, &scratch);
    lw_json_free(lw_noise_node_shape, &scratch);
    *spread = (struct lw_spread){0};
    if (status != LW_OK || one.n < FEWEST) {
        return status;
    }
    known.resolution = one.profile != NULL ? one.profile->metrology.resolution : NAN;
    return lw_spread_of(judging->time_s, judging->value, one.n, &known, spread, judging->error);
}

// Between two runs nothing cancels a drift: what it may have done meanwhile, as fast as it is known
// to be in either run, adds to the uncertainty.
static void allow_drift(const struct lw_noise_judging *judging, const struct lw_spread spread[FOUR],
                        struct lw_switched *switched)
{
    const struct lw_noise_stretch *off = stretch_at(judging, 0), *on = stretch_at(judging, 1);
    double apart_s = fabs(on->from_s + on->to_s - off->from_s - off->to_s) / 2;
    double drift = 0;
    for (size_t i = 0; i < FOUR; i++) {
        drift = fmax(drift, hypot(spread[i].drift_per_s, spread[i].drift_u_per_s));
    }
    switched->shift_u = hypot(switched->shift_u, drift * apart_s);
    switched->shift_p = NAN;
    struct lw_decided decided;
    switched->shifted =
        lw_decide_value(fabs(switched->shift), switched->shift_u, switched->shift_dof, 0,
                        4 * judging->together, &decided, NULL) == LW_OK &&
        decided.decision == LW_LIMIT_BROKEN;
}

static void keep(const struct lw_switched *switched, struct lw_noise_node *node)
{
    node->shift = switched->shift;
    node->shift_u = switched->shift_u;
    node->shift_p = switched->shift_p;
    node->ratio = switched->ratio;
    node->ratio_low95 = switched->ratio_low95;
    node->ratio_high95 = switched->ratio_high95;
    node->ratio_p = switched->ratio_p;
    node->response = lw_duplicate(switched->shifted && switched->changed ? N_("both")
                                  : switched->shifted                    ? N_("steady")
                                  : switched->changed                    ? N_("alternating")
                                                                         : N_("none"));
}

static enum lw_status test_node(struct lw_noise_judging *judging, struct lw_noise_node *node)
{
    struct lw_spread spread[FOUR];
    struct lw_switched switched;
    int index = lw_series_find(judging->series, node->node);
    if (index < 0) {
        return LW_OK; // no readings, said already
    }
    for (size_t quarter = 0; quarter < FOUR; quarter++) {
        window(judging, quarter);
        enum lw_status status = spread_in(judging, index, &spread[quarter]);
        if (status != LW_OK) {
            return status;
        }
    }
    if (lw_switched_of(spread, judging->together, &switched, NULL) != LW_OK) {
        return lw_noise_not_judged(judging, node,
                                   "source test: too few readings, or readings that do not move");
    }
    if (judging->options->stretches->count < FOUR) {
        allow_drift(judging, spread, &switched);
    }
    keep(&switched, node);
    return LW_OK;
}

static bool responds(const struct lw_noise_judging *judging, const struct lw_noise_node *node,
                     const struct lw_profile *profile)
{
    const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, (size_t)node->tap);
    return node->response != NULL && entry != NULL && entry->is == profile;
}

// The shifts of each kind along the chain.
static enum lw_status follow_shift(struct lw_noise_judging *judging,
                                   const struct lw_profile *profile)
{
    const struct lw_noise_node *nodes = judging->result->nodes.items;
    struct lw_noise_along along = {.kind = lw_duplicate(profile->name),
                                   .what = lw_duplicate("shift"),
                                   .frequency_hz = NAN,
                                   .in_step = NAN,
                                   .times_next = NAN,
                                   .confidence = NAN};
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < judging->result->nodes.count && status == LW_OK; i++) {
        if (!responds(judging, &nodes[i], profile)) {
            continue;
        }
        struct lw_noise_heard *heard = lw_list_add(&along.nodes, sizeof *heard);
        status = heard != NULL ? LW_OK : LW_MEMORY;
        if (heard != NULL) {
            *heard = (struct lw_noise_heard){.node = lw_duplicate(nodes[i].node),
                                             .tap = nodes[i].tap,
                                             .size = fabs(nodes[i].shift),
                                             .size_u = nodes[i].shift_u,
                                             .phase_rad = NAN};
        }
    }
    if (status == LW_OK && along.nodes.count > 1) {
        status = lw_noise_locate(judging->plan, judging->together, &along, judging->error);
    }
    struct lw_noise_along *kept = lw_list_add(&judging->result->along, sizeof *kept);
    if (kept == NULL) {
        lw_json_free(lw_noise_along_shape, &along);
        return lw_fail(judging->error, LW_MEMORY, "no memory for a disturbance");
    }
    *kept = along;
    return status;
}

static bool any_shifted(const struct lw_noise_judging *judging, const struct lw_profile *profile)
{
    const struct lw_noise_node *nodes = judging->result->nodes.items;
    for (size_t i = 0; i < judging->result->nodes.count; i++) {
        const char *response = nodes[i].response;
        if (responds(judging, &nodes[i], profile) &&
            (strcmp(response, "steady") == 0 || strcmp(response, "both") == 0)) {
            return true;
        }
    }
    return false;
}

static enum lw_status keep_stretches(struct lw_noise_judging *judging)
{
    judging->result->source = lw_duplicate(judging->options->source);
    for (size_t i = 0; i < judging->options->stretches->count; i++) {
        struct lw_noise_stretch *kept =
            lw_list_add(&judging->result->stretches, sizeof(struct lw_noise_stretch));
        if (kept == NULL) {
            return lw_fail(judging->error, LW_MEMORY, "no memory for a stretch");
        }
        *kept = *stretch_at(judging, i);
    }
    return LW_OK;
}

enum lw_status lw_noise_source(struct lw_noise_judging *judging)
{
    const struct lw_list *stretches = judging->options->stretches;
    if (stretches == NULL || (stretches->count != FOUR && stretches->count != 2)) {
        return LW_OK;
    }
    enum lw_status status = keep_stretches(judging);
    struct lw_noise_node *nodes = judging->result->nodes.items;
    for (size_t i = 0; i < judging->result->nodes.count && status == LW_OK; i++) {
        status = test_node(judging, &nodes[i]);
    }
    size_t kinds = judging->plan != NULL ? judging->plan->profiles.count : 0;
    for (size_t i = 0; i < kinds && status == LW_OK; i++) {
        const struct lw_profile *profile =
            (const struct lw_profile *)judging->plan->profiles.items + i;
        if (any_shifted(judging, profile)) {
            status = follow_shift(judging, profile);
        }
    }
    return status;
}
