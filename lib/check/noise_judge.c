// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of readings at rest: spread against the limit with one-sided 95 % bounds shared among
// all nodes judged together, and what stands out in the readings. Pure: a series in, a result out,
// wherever the series came from.
#include "base/unit.h"
#include "check/noise_inside.h"
#include "stats/allan.h"
#include "stats/decide.h"
#include "stats/jumps.h"

#include <string.h>

enum { TRACE_POINTS = 400, FEWEST_FOR_JUMPS = 20, FEWEST_FOR_ALLAN = 18 };

static const struct lw_profile *profile_of(const struct lw_noise_judging *judging, const char *name,
                                           size_t *tap)
{
    const struct lw_chain_entry *entry =
        judging->plan != NULL ? lw_plan_by_name(judging->plan, name, tap) : NULL;
    return entry != NULL ? entry->is : NULL;
}

// The limit and its unit; the register's unit where nothing says another.
static double limit_of(const struct lw_noise_judging *judging, const struct lw_profile *profile,
                       size_t tap, const char *register_unit, const char **unit)
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

static enum lw_status scale_values(struct lw_noise_judging *judging, size_t n, const char *node,
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

static bool keep_trace(const struct lw_noise_judging *judging, size_t n, struct lw_noise_node *node)
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
    node->own_stdev = spread->below_resolution ? (double)NAN : spread->noise_unrounded;
    node->below_resolution = spread->below_resolution;
    node->drift_per_s = spread->drift_per_s;
    node->drift_u_per_s = spread->drift_u_per_s;
    node->outliers = (double)spread->outliers;
    node->lag1 = spread->noise_lag1;
    node->effective_n_mean = spread->effective_n_mean;
    node->effective_n_spread = spread->effective_n_spread;
    node->effective_n_high = spread->effective_n_high;
    node->longest_run = (double)spread->longest_equal;
    node->resolution = spread->resolution;
    node->duration_s = spread->duration_s;
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

static void decide_peak_to_peak(const struct lw_noise_judging *judging, size_t n,
                                struct lw_noise_node *node)
{
    double low = judging->value[0], high = low;
    for (size_t i = 1; i < n; i++) {
        low = fmin(low, judging->value[i]);
        high = fmax(high, judging->value[i]);
    }
    node->peak_to_peak = high - low;
    node->verdict = node->peak_to_peak > node->limit ? LW_FAIL : LW_PASS;
}

static void decide_stdev(const struct lw_noise_judging *judging, const struct lw_spread *spread,
                         struct lw_noise_node *node)
{
    struct lw_decided decided;
    node->verdict = LW_UNDECIDED;
    if (lw_spread_decide(spread, node->limit, judging->at_look, &decided, NULL) != LW_OK) {
        return;
    }
    node->n_to_decide =
        decided.n_to_decide * node->n / fmax(lw_spread_effective_n(spread, node->limit), 1);
    if (decided.decision != LW_LIMIT_OPEN) {
        node->verdict = decided.decision == LW_LIMIT_KEPT ? LW_PASS : LW_FAIL;
    }
}

// A reading at the end of its range, or of a loop that signals a failure, has no noise to judge.
static bool judgeable(const struct lw_noise_node *node)
{
    return isfinite(node->limit) && !(node->at_range_end > 0.5) && !(node->loop_failed > 0.5);
}

static void decide(const struct lw_noise_judging *judging, const struct lw_noise_case *one,
                   struct lw_noise_node *node)
{
    if (!judgeable(node) || one->n < 2) {
        node->verdict = LW_NOT_TESTED;
    } else if (one->stuck) {
        node->verdict = LW_FAIL;
    } else if (one->profile != NULL && one->profile->metrology.noise_is == 1) {
        decide_peak_to_peak(judging, one->n, node);
    } else {
        decide_stdev(judging, &one->spread, node);
    }
}

// Of two readings closer together than the node renews them, an equal one is the same again.
static size_t drop_repeats(const struct lw_noise_judging *judging, size_t n, double update_s,
                           struct lw_noise_node *node)
{
    size_t kept = n > 0 ? 1 : 0;
    for (size_t i = 1; i < n; i++) {
        bool soon = judging->time_s[i] - judging->time_s[kept - 1] < update_s;
        if (soon && judging->value[i] == judging->value[kept - 1]) {
            continue;
        }
        judging->time_s[kept] = judging->time_s[i];
        judging->value[kept++] = judging->value[i];
    }
    node->repeats = (double)(n - kept);
    return kept;
}

static void know_update(struct lw_noise_case *one, struct lw_noise_node *node)
{
    if (one->facts != NULL && isfinite(one->facts->update_s)) {
        one->update_s = one->facts->update_s;
        node->update_from = one->facts->update_from;
    } else if (one->profile != NULL && isfinite(one->profile->metrology.update_ms)) {
        one->update_s = one->profile->metrology.update_ms / 1e3;
        node->update_from = LW_UPDATE_PROFILE;
    } else {
        one->update_s = NAN;
        node->update_from = LW_UPDATE_UNKNOWN;
    }
    node->update_ms = 1e3 * one->update_s;
    node->timing_u_ms = one->facts != NULL ? 1e3 * one->facts->timing_u_s : (double)NAN;
}

static void name_node(const struct lw_noise_judging *judging, const char *name, const char *unit,
                      const struct lw_noise_case *one, struct lw_noise_node *node)
{
    node->node = lw_duplicate(name[0] != '\0' ? name : "sensor"); // a file without nodes
    node->unit = lw_duplicate(unit);
    node->tap = (int)one->tap;
    if (one->profile != NULL) {
        node->place = lw_duplicate(lw_plan_tap(judging->plan, one->tap)->place);
        node->address = lw_plan_tap(judging->plan, one->tap)->address;
    }
}

static size_t within(const struct lw_noise_judging *judging, size_t n)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (judging->time_s[i] >= judging->from_s && judging->time_s[i] < judging->to_s) {
            judging->time_s[kept] = judging->time_s[i];
            judging->value[kept++] = judging->value[i];
        }
    }
    return kept;
}

// An angle at rest near 0 may be read as 359.99: the same place, a turn away.
static void unwind(const struct lw_noise_judging *judging, struct lw_noise_case *one)
{
    if (one->profile == NULL || one->profile->kind != LW_ENCODER ||
        one->profile->metrology.range.count != 2) {
        return;
    }
    const double *ends = one->profile->metrology.range.items;
    double turn = ends[1] - ends[0];
    for (size_t i = 1; i < one->n && turn > 0; i++) {
        judging->value[i] -= turn * nearbyint((judging->value[i] - judging->value[0]) / turn);
    }
}

enum lw_status lw_noise_gather(struct lw_noise_judging *judging, int index,
                               struct lw_noise_case *one, struct lw_noise_node *node)
{
    const struct lw_series_name *name = &judging->series->names[index];
    const char *unit = NULL;
    *one = (struct lw_noise_case){0};
    lw_json_init(lw_noise_node_shape, node);
    one->profile = profile_of(judging, name->node, &one->tap);
    if (judging->facts != NULL && one->tap > 0 && one->tap <= judging->facts->taps.count) {
        one->facts = (const struct lw_noise_tap_facts *)judging->facts->taps.items + one->tap - 1;
    }
    node->limit = limit_of(judging, one->profile, one->tap, name->unit, &unit);
    name_node(judging, name->node, unit, one, node);
    know_update(one, node);
    one->n = within(judging, lw_series_of(judging->series, index, judging->time_s, judging->value));
    enum lw_status status = scale_values(judging, one->n, name->node, name->unit, unit);
    one->n = drop_repeats(judging, one->n, one->update_s, node);
    unwind(judging, one);
    return status;
}

static enum lw_status spread_of(struct lw_noise_judging *judging, struct lw_noise_case *one,
                                struct lw_noise_node *node)
{
    struct lw_spread_options known = lw_spread_options();
    known.together = judging->together;
    if (one->profile != NULL) {
        known.resolution = one->profile->metrology.resolution;
    }
    enum lw_status status =
        lw_spread_of(judging->time_s, judging->value, one->n, &known, &one->spread, judging->error);
    if (status == LW_OK) {
        keep_spread(&one->spread, node);
        one->stuck = is_stuck(&one->spread, one->profile);
    }
    return status;
}

static enum lw_status find_jumps(const struct lw_noise_judging *judging,
                                 const struct lw_noise_case *one, struct lw_noise_node *node)
{
    struct lw_jumps jumps;
    if (one->n < FEWEST_FOR_JUMPS) {
        return LW_OK;
    }
    enum lw_status status = lw_jumps_find(judging->time_s, judging->value, one->n,
                                          one->spread.resolution, &jumps, judging->error);
    if (status == LW_OK && jumps.kind != LW_JUMPS_NONE) {
        node->jumps = jumps.kind == LW_JUMP_ONCE ? LW_NOISE_STEP : LW_NOISE_TELEGRAPH;
        node->jump_step = jumps.step;
        node->jump_switches = (double)jumps.switches;
    }
    return status;
}

// The times are uneven by half; what is asked, after how long averaging no longer helps, stands
// that.
static enum lw_status find_allan(const struct lw_noise_judging *judging,
                                 const struct lw_noise_case *one, struct lw_noise_node *node)
{
    struct lw_allan_best best;
    if (!judging->options->allan || one->n < FEWEST_FOR_ALLAN) {
        return LW_OK;
    }
    enum lw_status status = lw_allan_best(judging->value, one->n, &best, judging->error);
    if (status == LW_OK) {
        node->allan_s = (double)best.average * node->duration_s / (double)(one->n - 1);
        node->allan_stdev = best.deviation;
    }
    return status;
}

static enum lw_status judge_values(struct lw_noise_judging *judging, struct lw_noise_case *one,
                                   struct lw_noise_node *node)
{
    enum lw_status status = spread_of(judging, one, node);
    if (status == LW_OK) {
        status = lw_noise_kind(judging, one, node);
    }
    if (status == LW_OK) {
        status = find_jumps(judging, one, node);
    }
    if (status == LW_OK) {
        status = find_allan(judging, one, node);
    }
    if (status == LW_OK) {
        status = lw_noise_tones(judging, one, node);
    }
    decide(judging, one, node);
    node->cause = lw_duplicate(lw_noise_cause(node, one->stuck));
    return status == LW_OK && !keep_trace(judging, one->n, node)
               ? lw_fail(judging->error, LW_MEMORY, "no memory for a trace")
               : status;
}

static enum lw_status judge_node(struct lw_noise_judging *judging, int index)
{
    struct lw_noise_case one;
    struct lw_noise_node *node = lw_list_add(&judging->result->nodes, sizeof *node);
    if (node == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a node");
    }
    enum lw_status status = lw_noise_gather(judging, index, &one, node);
    return status == LW_OK && one.n > 0 ? judge_values(judging, &one, node) : status;
}

enum lw_status lw_noise_not_judged(const struct lw_noise_judging *judging,
                                   struct lw_noise_node *node, const char *why)
{
    char **text = lw_list_add(&node->not_judged, sizeof *text);
    if (text == NULL || (*text = lw_duplicate(why)) == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a reason");
    }
    return LW_OK;
}

// Planned sensors of which not one reading came: they stand in the table too.
static enum lw_status add_silent(struct lw_noise_judging *judging)
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

int lw_noise_ascending(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

// How many times the median spread of the others of its kind a node has; NAN with fewer than three
// others.
static double against_kind(const struct lw_noise_judging *judging, const struct lw_noise_node *node)
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
    qsort(judging->value, count, sizeof *judging->value, lw_noise_ascending);
    return node->stdev / judging->value[count / 2];
}

// Disturbed from outside: its spread is proved to be more than twice that of its kind.
static void compare_kinds(struct lw_noise_judging *judging)
{
    struct lw_noise_node *nodes = judging->result->nodes.items;
    for (size_t i = 0; i < judging->result->nodes.count; i++) {
        struct lw_decided decided;
        nodes[i].times_its_kind = against_kind(judging, &nodes[i]);
        if (!(nodes[i].times_its_kind > 0)) {
            continue;
        }
        double twice = 2 * nodes[i].stdev / nodes[i].times_its_kind;
        if (lw_decide_stdev(nodes[i].stdev, nodes[i].effective_n_spread, twice, judging->at_look,
                            &decided, NULL) == LW_OK) {
            nodes[i].disturbed = decided.decision == LW_LIMIT_BROKEN;
        }
        if (nodes[i].disturbed && strcmp(nodes[i].cause, "quiet") == 0) {
            free(nodes[i].cause);
            nodes[i].cause = lw_duplicate("unexplained");
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

static enum lw_status judge_all(struct lw_noise_judging *judging)
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
    status = status == LW_OK ? lw_noise_along_chain(judging) : status;
    return status == LW_OK ? lw_noise_source(judging) : status;
}

// With a source test the limit is held against the stretches with the source on.
static void choose_readings(struct lw_noise_judging *judging)
{
    const struct lw_list *stretches = judging->options->stretches;
    judging->from_s = stretches != NULL ? INFINITY : -INFINITY;
    judging->to_s = -judging->from_s;
    for (size_t i = 0; stretches != NULL && i < stretches->count; i++) {
        const struct lw_noise_stretch *one = (const struct lw_noise_stretch *)stretches->items + i;
        judging->from_s = one->on ? fmin(judging->from_s, one->from_s) : judging->from_s;
        judging->to_s = one->on ? fmax(judging->to_s, one->to_s) : judging->to_s;
    }
}

static enum lw_status begin(struct lw_noise_judging *judging)
{
    choose_readings(judging);
    size_t nodes = judging->plan != NULL ? lw_plan_taps(judging->plan) : 0;
    size_t room = judging->series->count + judging->series->name_count + nodes + 1;
    unsigned look = judging->facts != NULL ? judging->facts->look : 0;
    judging->together =
        (unsigned)(judging->series->name_count > 0 ? judging->series->name_count : 1);
    judging->at_look = look > 0 ? lw_decide_at_look(judging->together, look) : judging->together;
    judging->time_s = calloc(room, sizeof(double));
    judging->value = calloc(room, sizeof(double));
    return judging->time_s != NULL && judging->value != NULL
               ? LW_OK
               : lw_fail(judging->error, LW_MEMORY, "no memory for %zu readings", room);
}

static void end(struct lw_noise_judging *judging)
{
    free(judging->time_s);
    free(judging->value);
}

enum lw_status lw_noise_judge(const struct lw_plan *plan, const struct lw_noise_options *options,
                              const struct lw_series *series, const struct lw_noise_facts *facts,
                              struct lw_noise_result *result, struct lw_rule *rule,
                              struct lw_error *error)
{
    lw_json_init(&lw_noise_shape, result);
    struct lw_noise_judging judging = {.plan = plan,
                                       .options = options,
                                       .series = series,
                                       .facts = facts,
                                       .result = result,
                                       .error = error};
    enum lw_status status = begin(&judging);
    *rule = (struct lw_rule){.confidence = 0.95, .corrected_for = (int)judging.together};
    result->seconds = duration_s(series);
    result->looks = facts != NULL && facts->look > 0 ? facts->look : 1;
    result->state = lw_duplicate(options->state);
    status = status == LW_OK ? judge_all(&judging) : status;
    end(&judging);
    if (status != LW_OK) {
        lw_json_free(&lw_noise_shape, result);
    }
    return status;
}

static enum lw_status is_open(struct lw_noise_judging *judging, int index, bool *open)
{
    struct lw_noise_case one;
    struct lw_noise_node node;
    enum lw_status status = lw_noise_gather(judging, index, &one, &node);
    if (status == LW_OK && one.n > 0) {
        status = spread_of(judging, &one, &node);
    }
    if (status == LW_OK && one.n > 0) {
        status = lw_noise_kind(judging, &one, &node);
        decide(judging, &one, &node);
        *open = node.verdict == LW_UNDECIDED && isfinite(node.n_to_decide);
    }
    lw_json_free(lw_noise_node_shape, &node);
    return status;
}

enum lw_status lw_noise_open(const struct lw_plan *plan, const struct lw_noise_options *options,
                             const struct lw_series *series, const struct lw_noise_facts *facts,
                             size_t *open, struct lw_error *error)
{
    struct lw_noise_judging judging = {
        .plan = plan, .options = options, .series = series, .facts = facts, .error = error};
    enum lw_status status = begin(&judging);
    *open = 0;
    for (size_t i = 0; i < series->name_count && status == LW_OK; i++) {
        bool this_one = false;
        status = is_open(&judging, (int)i, &this_one);
        *open += this_one;
    }
    end(&judging);
    return status;
}
