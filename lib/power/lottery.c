// SPDX-License-Identifier: GPL-3.0-or-later
//
// Numbers into a ladder, and its solution followed from the ladder halfway between the ends.
#include "power/lottery.h"

static enum lw_status check_shapes(const struct lw_ladder *best, const struct lw_ladder *worst,
                                   struct lw_error *error)
{
    bool alike = best->tap_count == worst->tap_count && best->source_count == worst->source_count &&
                 best->bond_count == worst->bond_count;
    for (size_t i = 0; alike && i < best->tap_count; i++) {
        const struct lw_tap *one = &best->taps[i];
        const struct lw_tap *other = &worst->taps[i];
        alike = one->cut_plus == other->cut_plus && one->cut_zero == other->cut_zero &&
                one->load.kind == other->load.kind;
    }
    for (size_t s = 0; alike && s < best->source_count; s++) {
        alike = best->sources[s].tap == worst->sources[s].tap;
    }
    return alike ? LW_OK
                 : lw_fail(error, LW_USAGE, "the two ends of the tolerances are different chains");
}

static enum lw_status check_options(const struct lw_draw_options *options, struct lw_error *error)
{
    if (options->draws == 0) {
        return lw_fail(error, LW_USAGE, "draws: must be 1 or more");
    }
    if (!(options->common_share >= 0.0) || !(options->common_share <= 1.0)) {
        return lw_fail(error, LW_USAGE, "common share: must be 0 to 1, is %g",
                       options->common_share);
    }
    return LW_OK;
}

static double between(double best, double worst, double share)
{
    return best + (worst - best) * share;
}

static void fill(struct lw_lottery *lottery)
{
    double own = 1.0 - lottery->options->common_share;
    double common = lottery->options->common_share * lottery->share[lw_lottery_common(lottery)];
    const double *share = lottery->share;
    for (size_t i = 0; i < lottery->ladder.tap_count; i++, share += 3) {
        const struct lw_tap *best = &lottery->best->taps[i];
        const struct lw_tap *worst = &lottery->worst->taps[i];
        struct lw_tap *tap = &lottery->ladder.taps[i];
        tap->span_plus_ohm =
            between(best->span_plus_ohm, worst->span_plus_ohm, common + own * share[0]);
        tap->span_zero_ohm =
            between(best->span_zero_ohm, worst->span_zero_ohm, common + own * share[1]);
        tap->load.value = between(best->load.value, worst->load.value, share[2]);
    }
    for (size_t s = 0; s < lottery->ladder.source_count; s++, share++) {
        const struct lw_source *best = &lottery->best->sources[s];
        const struct lw_source *worst = &lottery->worst->sources[s];
        struct lw_source *source = &lottery->ladder.sources[s];
        source->volts = between(best->volts, worst->volts, *share);
        source->plus_ohm = between(best->plus_ohm, worst->plus_ohm, *share);
        source->zero_ohm = between(best->zero_ohm, worst->zero_ohm, *share);
        source->limit_a =
            isinf(best->limit_a) ? best->limit_a : between(best->limit_a, worst->limit_a, *share);
    }
    lw_solver_load(&lottery->solver);
}

static bool solve_afresh(struct lw_lottery *lottery)
{
    for (size_t s = 0; s < lottery->ladder.source_count; s++) {
        lottery->point.source_mode[s] = LW_SOURCE_VOLTAGE;
        lottery->solver.held_off[s] = false;
    }
    lottery->solver.factor = 1.0;
    return lw_sources_settle(&lottery->solver, &lottery->point);
}

static void keep_middle(struct lw_lottery *lottery)
{
    size_t sources = lottery->ladder.source_count;
    memcpy(lottery->middle_v, lottery->solver.volts,
           lottery->ladder.tap_count * sizeof(*lottery->middle_v));
    memcpy(lottery->middle_mode, lottery->point.source_mode,
           sources * sizeof(*lottery->middle_mode));
    memcpy(lottery->middle_blocked, lottery->solver.blocked,
           sources * sizeof(*lottery->middle_blocked));
}

static void recall_middle(struct lw_lottery *lottery)
{
    size_t sources = lottery->ladder.source_count;
    memcpy(lottery->solver.volts, lottery->middle_v,
           lottery->ladder.tap_count * sizeof(*lottery->middle_v));
    memcpy(lottery->point.source_mode, lottery->middle_mode,
           sources * sizeof(*lottery->middle_mode));
    memcpy(lottery->solver.blocked, lottery->middle_blocked,
           sources * sizeof(*lottery->middle_blocked));
}

static enum lw_status take_room(struct lw_lottery *lottery, struct lw_error *error)
{
    size_t taps = lottery->best->tap_count;
    size_t sources = lottery->best->source_count;
    lottery->ladder.taps = malloc(taps * sizeof(struct lw_tap));
    lottery->ladder.sources = malloc(sources * sizeof(struct lw_source));
    lottery->share = malloc(lottery->count * sizeof(double));
    lottery->middle_v = calloc(taps, sizeof(double));
    lottery->middle_mode = calloc(sources, sizeof(enum lw_source_mode));
    lottery->middle_blocked = calloc(sources, sizeof(bool));
    if (!lottery->ladder.taps || !lottery->ladder.sources || !lottery->share ||
        !lottery->middle_v || !lottery->middle_mode || !lottery->middle_blocked) {
        return lw_fail(error, LW_MEMORY, "no memory for drawing a chain of %zu taps", taps);
    }
    memcpy(lottery->ladder.taps, lottery->best->taps, taps * sizeof(struct lw_tap));
    memcpy(lottery->ladder.sources, lottery->best->sources, sources * sizeof(struct lw_source));
    enum lw_status status = lw_point_init(lottery->best, &lottery->point, error);
    return status == LW_OK ? lw_solver_init(&lottery->solver, &lottery->ladder, error) : status;
}

enum lw_status lw_lottery_init(struct lw_lottery *lottery, const struct lw_ladder *best,
                               const struct lw_ladder *worst, const struct lw_draw_options *options,
                               struct lw_error *error)
{
    *lottery = (struct lw_lottery){.best = best, .worst = worst, .options = options};
    enum lw_status status = check_shapes(best, worst, error);
    if (status == LW_OK) {
        status = check_options(options, error);
    }
    if (status != LW_OK) {
        return status;
    }
    lottery->ladder = *best;
    lottery->count = 3 * best->tap_count + best->source_count + 1;
    lottery->ladder.taps = NULL;
    lottery->ladder.sources = NULL;
    status = take_room(lottery, error);
    if (status != LW_OK) {
        lw_lottery_finish(lottery);
        return status;
    }
    for (size_t i = 0; i < best->tap_count; i++) {
        bool has_load = best->taps[i].load.kind != LW_LOAD_NONE;
        lottery->point.load_state[i] = has_load ? LW_LOAD_RUNNING : LW_LOAD_OFF;
    }
    for (size_t k = 0; k < lottery->count; k++) {
        lottery->share[k] = 0.5;
    }
    fill(lottery);
    solve_afresh(lottery);
    keep_middle(lottery);
    return LW_OK;
}

void lw_lottery_finish(struct lw_lottery *lottery)
{
    free(lottery->ladder.taps);
    free(lottery->ladder.sources);
    free(lottery->share);
    free(lottery->middle_v);
    free(lottery->middle_mode);
    free(lottery->middle_blocked);
    lw_point_finish(&lottery->point);
    lw_solver_finish(&lottery->solver);
    *lottery = (struct lw_lottery){0};
}

bool lw_lottery_solve(struct lw_lottery *lottery)
{
    fill(lottery);
    recall_middle(lottery);
    return lw_sources_follow(&lottery->solver, &lottery->point) || solve_afresh(lottery);
}

double lw_lottery_margin_v(const struct lw_lottery *lottery, size_t tap)
{
    const struct lw_load *load = &lottery->ladder.taps[tap].load;
    if (load->kind == LW_LOAD_NONE) {
        return INFINITY;
    }
    const double *minimum_v = lottery->options->minimum_v;
    return lottery->solver.volts[tap] - (minimum_v ? minimum_v[tap] : load->drop_out_v);
}
