// SPDX-License-Identifier: GPL-3.0-or-later
//
// The corner of the tolerances, and what it proves.
#include "power/solver.h"
#include "power/tolerance.h"

static bool begins_stretch(const struct lw_ladder *ladder, size_t tap)
{
    return tap == 0 || ladder->taps[tap].cut_plus || ladder->taps[tap].cut_zero;
}

// Only the source's own stretch runs: the others are dark and would have no operating point.
static void ask_single(const struct lw_ladder *ladder, size_t source, struct lw_point *point)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        point->source_mode[s] = s == source ? LW_SOURCE_VOLTAGE : LW_SOURCE_OFF;
    }
    size_t first = ladder->sources[source].tap;
    while (!begins_stretch(ladder, first)) {
        first--;
    }
    for (size_t i = first; i == first || (i < ladder->tap_count && !begins_stretch(ladder, i));
         i++) {
        point->load_state[i] = LW_LOAD_RUNNING;
    }
}

// Raises `volts` to what the one source alone gives, where it carries its stretch alone.
static enum lw_status raise_to_single(const struct lw_ladder *worst, size_t source, double *volts,
                                      struct lw_error *error)
{
    struct lw_point point;
    enum lw_status status = lw_point_init(worst, &point, error);
    if (status != LW_OK) {
        return status;
    }
    ask_single(worst, source, &point);
    status = lw_ladder_solve(worst, &point, error);
    for (size_t i = 0; status == LW_OK && point.exists && i < worst->tap_count; i++) {
        volts[i] = fmax(volts[i], lw_point_volts(&point, i));
    }
    lw_point_finish(&point);
    return status;
}

static enum lw_status bound(const struct lw_ladder *worst, double *volts, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < worst->tap_count; i++) {
        volts[i] = 0.0;
    }
    for (size_t s = 0; status == LW_OK && s < worst->source_count; s++) {
        status = raise_to_single(worst, s, volts, error);
    }
    return status;
}

static bool sinks_or_trips(const struct lw_ladder *ladder)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        if (ladder->sources[s].reverse != LW_REVERSE_BLOCKS) {
            return true;
        }
    }
    return false;
}

enum lw_status lw_worst_case_find(const struct lw_ladder *worst, struct lw_worst_case *result,
                                  struct lw_error *error)
{
    struct lw_ladder_path path;
    *result = (struct lw_worst_case){.volts = calloc(worst->tap_count, sizeof(double)),
                                     .runs = calloc(worst->tap_count, sizeof(bool))};
    if (!result->volts || !result->runs) {
        lw_worst_case_finish(result);
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", worst->tap_count);
    }
    enum lw_status status = lw_ladder_running(worst, &path, error);
    if (status != LW_OK) {
        lw_worst_case_finish(result);
        return status;
    }
    result->all_on = path.all_on;
    for (size_t i = 0; i < worst->tap_count; i++) {
        result->volts[i] = lw_point_volts(&path.point, i);
        result->runs[i] = path.point.load_state[i] == LW_LOAD_RUNNING;
    }
    lw_ladder_path_finish(&path);
    size_t one, other;
    bool twice = lw_ladder_paralleled(worst, &one, &other);
    if (!result->all_on || worst->bond_count > 1 || (twice && sinks_or_trips(worst))) {
        result->kind = LW_WORST_ESTIMATE;
    } else if (twice) {
        result->kind = LW_WORST_BOUND;
        status = bound(worst, result->volts, error);
    }
    if (status != LW_OK) {
        lw_worst_case_finish(result);
    }
    return status;
}

void lw_worst_case_finish(struct lw_worst_case *result)
{
    if (!result) {
        return;
    }
    free(result->volts);
    free(result->runs);
    *result = (struct lw_worst_case){0};
}
