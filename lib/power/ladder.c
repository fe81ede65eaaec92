// SPDX-License-Identifier: GPL-3.0-or-later
//
// The public face of the ladder: what a sensible one is, and one solution of it.
#include "power/ladder.h"

#include "power/solver.h"

static bool is_at_least(double value, double low)
{
    return isfinite(value) && value >= low;
}

static bool is_above(double value, double low)
{
    return isfinite(value) && value > low;
}

static enum lw_status check_load(const struct lw_load *load, size_t tap, struct lw_error *error)
{
    if (load->kind == LW_LOAD_NONE) {
        return LW_OK;
    }
    bool value_fits =
        load->kind == LW_LOAD_RESISTOR ? is_above(load->value, 0.0) : is_at_least(load->value, 0.0);
    if (!value_fits) {
        return lw_fail(error, LW_BAD_FILE, "tap %zu: load value is out of range", tap + 1);
    }
    if (!is_at_least(load->drop_out_v, 0.0) || !is_at_least(load->start_up_a, 0.0)) {
        return lw_fail(error, LW_BAD_FILE,
                       "tap %zu: drop-out voltage and start-up current must not be below 0",
                       tap + 1);
    }
    if (!is_at_least(load->start_v, load->drop_out_v)) {
        return lw_fail(error, LW_BAD_FILE,
                       "tap %zu: start voltage %g V is below the drop-out voltage %g V", tap + 1,
                       load->start_v, load->drop_out_v);
    }
    return LW_OK;
}

static enum lw_status check_taps(const struct lw_ladder *ladder, struct lw_error *error)
{
    for (size_t i = 0; i < ladder->tap_count; i++) {
        const struct lw_tap *tap = &ladder->taps[i];
        if (!is_at_least(tap->span_plus_ohm, 0.0) || !is_at_least(tap->span_zero_ohm, 0.0)) {
            return lw_fail(error, LW_BAD_FILE,
                           "tap %zu: the span's resistance must be 0 ohm or more", i + 1);
        }
        enum lw_status status = check_load(&tap->load, i, error);
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static enum lw_status check_source(const struct lw_ladder *ladder, size_t index,
                                   struct lw_error *error)
{
    const struct lw_source *source = &ladder->sources[index];
    if (source->tap >= ladder->tap_count) {
        return lw_fail(error, LW_BAD_FILE, "supply %zu: feeds tap %zu of %zu", index + 1,
                       source->tap + 1, ladder->tap_count);
    }
    if (!is_above(source->volts, 0.0) || !(source->limit_a > 0.0)) {
        return lw_fail(error, LW_BAD_FILE, "supply %zu: voltage and limit must be above 0",
                       index + 1);
    }
    if (!is_at_least(source->plus_ohm, 0.0) || !is_at_least(source->zero_ohm, 0.0) ||
        !(source->plus_ohm + source->zero_ohm > 0.0)) {
        return lw_fail(error, LW_BAD_FILE,
                       "supply %zu: output and lead together need a resistance above 0", index + 1);
    }
    bool folds = source->past_limit == LW_FOLD_BACK;
    if (folds && (isinf(source->limit_a) || !is_at_least(source->fold_back_a, 0.0) ||
                  source->fold_back_a > source->limit_a)) {
        return lw_fail(error, LW_BAD_FILE,
                       "supply %zu: the fold-back current must lie between 0 and the limit",
                       index + 1);
    }
    return LW_OK;
}

static enum lw_status check_bond(const struct lw_ladder *ladder, size_t index,
                                 struct lw_error *error)
{
    const struct lw_bond *bond = &ladder->bonds[index];
    if (bond->tap >= ladder->tap_count || !is_above(bond->ohm, 0.0)) {
        return lw_fail(error, LW_BAD_FILE,
                       "bond %zu: needs a tap of the chain and a resistance above 0", index + 1);
    }
    return LW_OK;
}

// A stretch of taps without a cut is fed when some source stands on the same V+ stretch and in the
// same 0 V section.
static bool is_fed(const struct lw_ladder *ladder, const size_t *section, const size_t *plus_run,
                   size_t tap)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        size_t at = ladder->sources[s].tap;
        if (section[at] == section[tap] && plus_run[at] == plus_run[tap]) {
            return true;
        }
    }
    return false;
}

static enum lw_status check_paths(const struct lw_ladder *ladder, struct lw_error *error)
{
    size_t *section = calloc(ladder->tap_count, sizeof(*section));
    size_t *plus_run = calloc(ladder->tap_count, sizeof(*plus_run));
    enum lw_status status = LW_OK;
    if (!section || !plus_run) {
        status = lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", ladder->tap_count);
        goto out;
    }
    lw_number_sections(ladder, section);
    for (size_t i = 1; i < ladder->tap_count; i++) {
        plus_run[i] = plus_run[i - 1] + ladder->taps[i].cut_plus;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        bool stretch_begins = i == 0 || ladder->taps[i].cut_plus || ladder->taps[i].cut_zero;
        if (stretch_begins && !is_fed(ladder, section, plus_run, i)) {
            status =
                lw_fail(error, LW_BAD_FILE, "tap %zu: no path to a supply on both rails", i + 1);
            break;
        }
    }
out:
    free(section);
    free(plus_run);
    return status;
}

static bool is_cut_between(const struct lw_ladder *ladder, size_t one, size_t other)
{
    size_t last = one < other ? other : one;
    for (size_t i = (one < other ? one : other) + 1; i <= last; i++) {
        if (ladder->taps[i].cut_plus || ladder->taps[i].cut_zero) {
            return true;
        }
    }
    return false;
}

bool lw_ladder_paralleled(const struct lw_ladder *ladder, size_t *one, size_t *other)
{
    for (*other = 1; *other < ladder->source_count; ++*other) {
        for (*one = 0; *one < *other; ++*one) {
            if (!is_cut_between(ladder, ladder->sources[*one].tap, ladder->sources[*other].tap)) {
                return true;
            }
        }
    }
    return false;
}

enum lw_status lw_ladder_check(const struct lw_ladder *ladder, struct lw_error *error)
{
    if (ladder->tap_count == 0) {
        return lw_fail(error, LW_BAD_FILE, "the chain has no tap");
    }
    if (ladder->source_count == 0) {
        return lw_fail(error, LW_BAD_FILE, "the chain has no supply");
    }
    enum lw_status status = check_taps(ladder, error);
    for (size_t s = 0; status == LW_OK && s < ladder->source_count; s++) {
        status = check_source(ladder, s, error);
    }
    for (size_t b = 0; status == LW_OK && b < ladder->bond_count; b++) {
        status = check_bond(ladder, b, error);
    }
    return status == LW_OK ? check_paths(ladder, error) : status;
}

enum lw_status lw_point_init(const struct lw_ladder *ladder, struct lw_point *point,
                             struct lw_error *error)
{
    size_t taps = ladder->tap_count;
    size_t sources = ladder->source_count;
    *point = (struct lw_point){
        .plus_v = calloc(taps, sizeof(double)),
        .zero_v = calloc(taps, sizeof(double)),
        .load_a = calloc(taps, sizeof(double)),
        .span_plus_a = calloc(taps, sizeof(double)),
        .span_zero_a = calloc(taps, sizeof(double)),
        .load_state = calloc(taps, sizeof(enum lw_load_state)),
        .source_a = calloc(sources, sizeof(double)),
        .source_mode = calloc(sources, sizeof(enum lw_source_mode)),
    };
    if (!point->plus_v || !point->zero_v || !point->load_a || !point->span_plus_a ||
        !point->span_zero_a || !point->load_state || !point->source_a || !point->source_mode) {
        lw_point_finish(point);
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", taps);
    }
    return LW_OK;
}

void lw_point_finish(struct lw_point *point)
{
    if (!point) {
        return;
    }
    free(point->plus_v);
    free(point->zero_v);
    free(point->load_a);
    free(point->span_plus_a);
    free(point->span_zero_a);
    free(point->load_state);
    free(point->source_a);
    free(point->source_mode);
    *point = (struct lw_point){0};
}

enum lw_status lw_ladder_solve(const struct lw_ladder *ladder, struct lw_point *point,
                               struct lw_error *error)
{
    struct lw_solver solver;
    enum lw_status status = lw_solver_init(&solver, ladder, error);
    if (status == LW_OK) {
        lw_solver_run(&solver, point);
        lw_solver_finish(&solver);
    }
    return status;
}
