// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of readings at rest: spread against the limit with one-sided 95 % bounds shared among
// all nodes judged together, and what stands out in the readings. Pure: a series in, a result out,
// wherever the series came from.
#include "base/unit.h"
#include "check/noise.h"
#include "stats/decide.h"
#include "stats/mains.h"
#include "stats/spread.h"

#include <string.h>

enum { TRACE_POINTS = 400, FEWEST_FOR_TONES = 16, FEWEST_OUTLIERS = 3 };

// A tone counts when noise alone would give it in less than 1 of 100 runs over all nodes together.
static const double tone_false_alarm = 0.01;

struct judging {
    const struct lw_plan *plan;
    const struct lw_noise_options *options;
    const struct lw_series *series;
    struct lw_noise_result *result;
    unsigned together;
    double *time_s, *value;
    struct lw_error *error;
};

static const struct lw_profile *profile_of(const struct judging *judging, const char *name,
                                           size_t *tap)
{
    const struct lw_chain_entry *entry =
        judging->plan != NULL ? lw_plan_by_name(judging->plan, name, tap) : NULL;
    return entry != NULL ? entry->is : NULL;
}

// The limit and its unit; the register's unit where nothing says another.
static double limit_of(const struct judging *judging, const struct lw_profile *profile, size_t tap,
                       const char *register_unit, const char **unit)
{
    *unit = register_unit;
    if (profile != NULL) {
        *unit = profile->metrology.unit != NULL ? profile->metrology.unit : register_unit;
        return lw_plan_limits(judging->plan, tap).noise_limit;
    }
    if (judging->options->unit != NULL) {
        *unit = judging->options->unit;
    }
    return judging->options->limit;
}

static enum lw_status scale_values(struct judging *judging, size_t n, const char *node,
                                   const char *from, const char *to)
{
    double factor = 1;
    if (strcmp(from, to) != 0 && !lw_unit_factor(from, to, &factor)) {
        return lw_fail(judging->error, LW_BAD_FILE,
                       "node '%s': readings in '%s' cannot be judged in '%s'", node, from, to);
    }
    for (size_t i = 0; i < n; i++) {
        judging->value[i] *= factor;
    }
    return LW_OK;
}

static bool keep_trace(const struct judging *judging, size_t n, struct lw_noise_node *node)
{
    size_t step = n > TRACE_POINTS ? (n + TRACE_POINTS - 1) / TRACE_POINTS : 1;
    for (size_t i = 0; i < n; i += step) {
        double *time_s = lw_list_add(&node->trace_time_s, sizeof *time_s);
        double *value = lw_list_add(&node->trace_value, sizeof *value);
        if (time_s == NULL || value == NULL) {
            return false;
        }
        *time_s = judging->time_s[i];
        *value = judging->value[i];
    }
    return true;
}

static void keep_spread(const struct lw_spread *spread, struct lw_noise_node *node)
{
    node->n = (double)spread->n;
    node->mean = spread->mean;
    node->stdev = spread->noise;
    node->stdev_low95 = spread->stdev_low95;
    node->stdev_high95 = isfinite(spread->stdev_high95) ? spread->stdev_high95 : NAN;
    node->robust_stdev = spread->robust_stdev;
    node->drift_per_s = spread->drift_per_s;
    node->drift_u_per_s = spread->drift_u_per_s;
    node->outliers = (double)spread->outliers;
    node->lag1 = spread->noise_lag1;
    node->effective_n_mean = spread->effective_n_mean;
    node->effective_n_spread = spread->effective_n_spread;
    node->longest_run = (double)spread->longest_equal;
    node->resolution = spread->resolution;
    node->duration_s = spread->duration_s;
}

static enum lw_status find_tones(const struct judging *judging, size_t n,
                                 struct lw_noise_node *node)
{
    struct lw_mains mains;
    if (n < FEWEST_FOR_TONES || !(node->stdev > 0) ||
        lw_mains_find(judging->time_s, judging->value, n, &mains, NULL) != LW_OK ||
        !(mains.tone.false_alarm < tone_false_alarm / judging->together)) {
        return LW_OK;
    }
    struct lw_noise_tone *tone = lw_list_add(&node->tones, sizeof *tone);
    if (tone == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a tone");
    }
    *tone = (struct lw_noise_tone){.frequency_hz = mains.tone.frequency_hz,
                                   .amplitude = mains.tone.amplitude,
                                   .amplitude_u = mains.tone.amplitude_u,
                                   .false_alarm = mains.tone.false_alarm};
    return LW_OK;
}

// Readings that never change prove nothing where the sensor's own noise is below its step, as with
// an encoder at rest; where it is above, they prove that the reading does not live.
static bool is_stuck(const struct lw_spread *spread, const struct lw_profile *profile)
{
    if (!spread->stuck || spread->n < 10) {
        return false;
    }
    if (profile == NULL) {
        return true;
    }
    const struct lw_metrology *metrology = &profile->metrology;
    if (!isfinite(metrology->repeatability_1s)) {
        return profile->kind != LW_ENCODER;
    }
    return !(metrology->repeatability_1s < 0.5 * metrology->resolution);
}

static bool drifts(const struct lw_noise_node *node)
{
    double over_run = fabs(node->drift_per_s) * node->duration_s;
    return fabs(node->drift_per_s) > 4 * node->drift_u_per_s && over_run > node->limit;
}

static const char *cause_of(const struct lw_noise_node *node, bool stuck)
{
    const struct lw_noise_tone *tones = node->tones.items;
    if (stuck) {
        return "stuck";
    }
    if (node->tones.count > 0 && tones[0].amplitude > node->stdev) {
        return "mains";
    }
    if (drifts(node)) {
        return "drift";
    }
    if (node->outliers >= FEWEST_OUTLIERS) {
        return "spikes";
    }
    return node->verdict == LW_FAIL ? "unexplained" : "quiet";
}

static void decide_peak_to_peak(const struct judging *judging, size_t n, struct lw_noise_node *node)
{
    double low = judging->value[0], high = low;
    for (size_t i = 1; i < n; i++) {
        low = fmin(low, judging->value[i]);
        high = fmax(high, judging->value[i]);
    }
    node->peak_to_peak = high - low;
    node->verdict = node->peak_to_peak > node->limit ? LW_FAIL : LW_PASS;
}

static void decide_stdev(const struct judging *judging, const struct lw_spread *spread,
                         struct lw_noise_node *node)
{
    struct lw_decided decided;
    node->verdict = LW_UNDECIDED;
    if (lw_spread_decide(spread, node->limit, judging->together, &decided, NULL) != LW_OK) {
        return;
    }
    node->n_to_decide = decided.n_to_decide * node->n / fmax(node->effective_n_spread, 1);
    if (decided.decision != LW_LIMIT_OPEN) {
        node->verdict = decided.decision == LW_LIMIT_KEPT ? LW_PASS : LW_FAIL;
    }
}

static void decide(const struct judging *judging, const struct lw_profile *profile,
                   const struct lw_spread *spread, bool stuck, struct lw_noise_node *node)
{
    if (!isfinite(node->limit) || spread->n < 2) {
        node->verdict = LW_NOT_TESTED;
    } else if (stuck) {
        node->verdict = LW_FAIL;
    } else if (profile != NULL && profile->metrology.noise_is == 1) {
        decide_peak_to_peak(judging, spread->n, node);
    } else {
        decide_stdev(judging, spread, node);
    }
}

static void count_repeats(const struct judging *judging, size_t n, struct lw_noise_node *node)
{
    node->repeats = 0;
    for (size_t i = 1; i < n; i++) {
        bool before_update = judging->time_s[i] - judging->time_s[i - 1] < node->update_ms / 1e3;
        node->repeats += before_update && judging->value[i] == judging->value[i - 1];
    }
}

static enum lw_status judge_values(struct judging *judging, const struct lw_profile *profile,
                                   size_t n, struct lw_noise_node *node)
{
    struct lw_spread_options known = lw_spread_options();
    struct lw_spread spread;
    node->update_ms = NAN;
    known.together = judging->together;
    if (profile != NULL) {
        known.resolution = profile->metrology.resolution;
        node->update_ms = profile->metrology.update_ms;
    }
    enum lw_status status =
        lw_spread_of(judging->time_s, judging->value, n, &known, &spread, judging->error);
    if (status != LW_OK) {
        return status;
    }
    keep_spread(&spread, node);
    count_repeats(judging, n, node);
    status = find_tones(judging, n, node);
    bool stuck = is_stuck(&spread, profile);
    decide(judging, profile, &spread, stuck, node);
    node->cause = lw_duplicate(cause_of(node, stuck));
    return status == LW_OK && !keep_trace(judging, n, node)
               ? lw_fail(judging->error, LW_MEMORY, "no memory for a trace")
               : status;
}

static enum lw_status judge_node(struct judging *judging, int index)
{
    const struct lw_series_name *name = &judging->series->names[index];
    struct lw_noise_node *node = lw_list_add(&judging->result->nodes, sizeof *node);
    if (node == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a node");
    }
    lw_json_init(lw_noise_node_shape, node);
    size_t tap = 0;
    const struct lw_profile *profile = profile_of(judging, name->node, &tap);
    const char *unit = NULL;
    node->limit = limit_of(judging, profile, tap, name->unit, &unit);
    node->node = lw_duplicate(name->node);
    node->unit = lw_duplicate(unit);
    node->tap = (int)tap;
    if (profile != NULL) {
        node->place = lw_duplicate(lw_plan_tap(judging->plan, tap)->place);
        node->address = lw_plan_tap(judging->plan, tap)->address;
    }
    size_t n = lw_series_of(judging->series, index, judging->time_s, judging->value);
    enum lw_status status = scale_values(judging, n, name->node, name->unit, unit);
    return status == LW_OK && n > 0 ? judge_values(judging, profile, n, node) : status;
}

// Planned sensors of which not one reading came: they stand in the table too.
static enum lw_status add_silent(struct judging *judging)
{
    for (size_t tap = 1; judging->plan != NULL && tap <= lw_plan_taps(judging->plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(judging->plan, tap);
        bool selected = judging->options->selected == NULL || judging->options->selected[tap - 1];
        if (!selected || entry->is == NULL ||
            lw_profile_register(entry->is, LW_ROLE_READING) == NULL ||
            lw_series_find(judging->series, entry->node) >= 0) {
            continue;
        }
        struct lw_noise_node *node = lw_list_add(&judging->result->nodes, sizeof *node);
        if (node == NULL) {
            return lw_fail(judging->error, LW_MEMORY, "no memory for a node");
        }
        lw_json_init(lw_noise_node_shape, node);
        node->node = lw_duplicate(entry->node);
        node->place = lw_duplicate(entry->place);
        node->unit = lw_duplicate(entry->is->metrology.unit);
        node->tap = (int)tap;
        node->address = entry->address;
        node->limit = lw_plan_limits(judging->plan, tap).noise_limit;
        node->n = 0;
        node->cause = lw_duplicate("no_data");
        node->verdict = LW_NOT_TESTED;
    }
    return LW_OK;
}

static int by_tap(const void *a, const void *b)
{
    const struct lw_noise_node *left = a, *right = b;
    return (left->tap > right->tap) - (left->tap < right->tap);
}

static int ascending(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

// How many times the median spread of the others of its kind a node has; NAN with fewer than three
// others.
static double against_kind(const struct judging *judging, const struct lw_noise_node *node)
{
    const struct lw_noise_node *nodes = judging->result->nodes.items;
    size_t tap = 0, count = 0;
    const struct lw_profile *own = profile_of(judging, node->node, &tap);
    for (size_t i = 0; own != NULL && i < judging->result->nodes.count; i++) {
        bool alike = profile_of(judging, nodes[i].node, &tap) == own;
        if (&nodes[i] != node && alike && nodes[i].stdev > 0) {
            judging->value[count++] = nodes[i].stdev;
        }
    }
    if (count < 3) {
        return NAN;
    }
    qsort(judging->value, count, sizeof *judging->value, ascending);
    return node->stdev / judging->value[count / 2];
}

// Disturbed from outside: its spread is proved to be more than twice that of its kind.
static void compare_kinds(struct judging *judging)
{
    struct lw_noise_node *nodes = judging->result->nodes.items;
    for (size_t i = 0; i < judging->result->nodes.count; i++) {
        struct lw_decided decided;
        nodes[i].times_its_kind = against_kind(judging, &nodes[i]);
        if (!(nodes[i].times_its_kind > 0)) {
            continue;
        }
        double twice = 2 * nodes[i].stdev / nodes[i].times_its_kind;
        if (lw_decide_stdev(nodes[i].stdev, nodes[i].effective_n_spread, twice, judging->together,
                            &decided, NULL) == LW_OK) {
            nodes[i].disturbed = decided.decision == LW_LIMIT_BROKEN;
        }
    }
}

static void common_unit(struct lw_noise_result *result)
{
    const struct lw_noise_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (nodes[i].unit == NULL || strcmp(nodes[i].unit, nodes[0].unit) != 0) {
            return;
        }
    }
    result->unit = result->nodes.count > 0 ? lw_duplicate(nodes[0].unit) : NULL;
}

static double duration_s(const struct lw_series *series)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < series->count; i++) {
        low = fmin(low, series->time_s[i]);
        high = fmax(high, series->time_s[i]);
    }
    return high > low ? high - low : 0;
}

static enum lw_status judge_all(struct judging *judging)
{
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < judging->series->name_count && status == LW_OK; i++) {
        status = judge_node(judging, (int)i);
    }
    if (status == LW_OK) {
        status = add_silent(judging);
    }
    if (judging->result->nodes.count > 0) {
        qsort(judging->result->nodes.items, judging->result->nodes.count,
              sizeof(struct lw_noise_node), by_tap);
    }
    compare_kinds(judging);
    common_unit(judging->result);
    return status;
}

enum lw_status lw_noise_judge(const struct lw_plan *plan, const struct lw_noise_options *options,
                              const struct lw_series *series, struct lw_noise_result *result,
                              struct lw_rule *rule, struct lw_error *error)
{
    lw_json_init(&lw_noise_shape, result);
    size_t nodes = plan != NULL ? lw_plan_taps(plan) : 0;
    size_t room = series->count + series->name_count + nodes + 1;
    struct judging judging = {.plan = plan,
                              .options = options,
                              .series = series,
                              .result = result,
                              .together =
                                  (unsigned)(series->name_count > 0 ? series->name_count : 1),
                              .time_s = calloc(room, sizeof(double)),
                              .value = calloc(room, sizeof(double)),
                              .error = error};
    *rule = (struct lw_rule){.confidence = 0.95, .corrected_for = (int)judging.together};
    result->seconds = duration_s(series);
    result->state = lw_duplicate(options->state);
    enum lw_status status = judging.time_s != NULL && judging.value != NULL
                                ? judge_all(&judging)
                                : lw_fail(error, LW_MEMORY, "no memory for %zu readings", room);
    free(judging.time_s);
    free(judging.value);
    if (status != LW_OK) {
        lw_json_free(&lw_noise_shape, result);
    }
    return status;
}
