// SPDX-License-Identifier: GPL-3.0-or-later
//
// The score of every span is linear algebra on one Cholesky factor. A bad joint of some ohms bends
// the chain's voltages beyond what a tangent says, so the spans with the best scores are fitted
// again, each on the ladder solved with its own extra resistance (Gauss and Newton).
#include "power/weak_span.h"

#include "stats/quantile.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>

enum { FIT_AGAIN = 6, FIT_STEPS = 12 };

// Shares of healthy chains of which a span is said to be weak: as a remark, as a fail.
static const double found_share = 0.05, proved_share = 0.001;

struct criticals {
    double found, proved, other; // other: a draw, a meter, two-sided
};

struct fit {
    struct lw_ladder ladder; // copy whose spans, sources and loads may be bent
    const enum lw_load_state *states;
    const struct lw_voltmeter *meters;
    const struct lw_weak_span_options *options;
    struct lw_point point;
    size_t count;              // readings
    struct lw_probe *readings; // the meters', then the probes'
    bool rails_apart;          // one of them sees a rail by itself
    gsl_vector *at_plan, *residual, *column, *whitened;
    gsl_matrix *cholesky;
    double chi2;
    struct lw_error *error;
};

// A stepped copy has one tap more: the known load at the far end.
static enum lw_status copy_ladder(const struct lw_ladder *from, double step_a, struct lw_ladder *to)
{
    *to = *from;
    to->tap_count += step_a > 0;
    to->taps = calloc(to->tap_count, sizeof *to->taps);
    to->sources = calloc(from->source_count, sizeof *to->sources);
    if (to->taps == NULL || to->sources == NULL) {
        return LW_MEMORY;
    }
    memcpy(to->taps, from->taps, from->tap_count * sizeof *to->taps);
    memcpy(to->sources, from->sources, from->source_count * sizeof *to->sources);
    if (step_a > 0) {
        to->taps[from->tap_count].load = (struct lw_load){.kind = LW_LOAD_CURRENT, .value = step_a};
    }
    return LW_OK;
}

static void fit_finish(struct fit *fit)
{
    free(fit->ladder.taps);
    free(fit->ladder.sources);
    free(fit->readings);
    lw_point_finish(&fit->point);
    gsl_vector *const vectors[] = {fit->at_plan, fit->residual, fit->column, fit->whitened};
    for (size_t i = 0; i < sizeof vectors / sizeof *vectors; i++) {
        if (vectors[i] != NULL) {
            gsl_vector_free(vectors[i]);
        }
    }
    if (fit->cholesky != NULL) {
        gsl_matrix_free(fit->cholesky);
    }
}

static void take_readings(struct fit *fit, size_t taps)
{
    for (size_t tap = 0; tap < taps; tap++) {
        if (isfinite(fit->meters[tap].volts)) {
            fit->readings[fit->count++] =
                (struct lw_probe){fit->meters[tap], {tap, tap}, {LW_RAIL_PLUS, LW_RAIL_ZERO}};
        }
    }
    for (size_t i = 0; i < fit->options->probe_count; i++) {
        const struct lw_probe *probe = &fit->options->probes[i];
        fit->readings[fit->count++] = *probe;
        fit->rails_apart = fit->rails_apart || probe->rail[0] == probe->rail[1];
    }
}

static enum lw_status fit_init(struct fit *fit, const struct lw_ladder *ladder)
{
    enum lw_status status = copy_ladder(ladder, fit->options->step_a, &fit->ladder);
    if (status == LW_OK) {
        status = lw_point_init(&fit->ladder, &fit->point, fit->error);
    }
    fit->readings = calloc(ladder->tap_count + fit->options->probe_count, sizeof *fit->readings);
    if (status != LW_OK || fit->readings == NULL) {
        return lw_fail(fit->error, LW_MEMORY, "no memory for a fit over %zu taps",
                       ladder->tap_count);
    }
    take_readings(fit, ladder->tap_count);
    if (fit->count < 3) {
        return lw_fail(fit->error, LW_USAGE, "%zu voltmeters are too few to judge spans by",
                       fit->count);
    }
    fit->at_plan = gsl_vector_calloc(fit->count);
    fit->residual = gsl_vector_calloc(fit->count);
    fit->column = gsl_vector_calloc(fit->count);
    fit->whitened = gsl_vector_calloc(fit->count);
    fit->cholesky = gsl_matrix_calloc(fit->count, fit->count);
    bool all = fit->at_plan != NULL && fit->residual != NULL && fit->column != NULL &&
               fit->whitened != NULL && fit->cholesky != NULL;
    return all ? LW_OK : lw_fail(fit->error, LW_MEMORY, "no memory for a fit");
}

static bool is_stepped(const struct fit *fit)
{
    return fit->options->step_a > 0;
}

static enum lw_status solve_bent(struct fit *fit, enum lw_load_state step_state)
{
    size_t taps = fit->ladder.tap_count - is_stepped(fit);
    memcpy(fit->point.load_state, fit->states, taps * sizeof *fit->point.load_state);
    if (is_stepped(fit)) {
        fit->point.load_state[taps] = step_state;
    }
    for (size_t s = 0; s < fit->ladder.source_count; s++) {
        fit->point.source_mode[s] = LW_SOURCE_VOLTAGE;
    }
    enum lw_status status = lw_ladder_solve(&fit->ladder, &fit->point, fit->error);
    if (status == LW_OK && !fit->point.exists) {
        return lw_fail(fit->error, LW_GARBLED, "no operating point to compare the readings with");
    }
    return status;
}

static double reading_at(const struct fit *fit, const struct lw_probe *reading)
{
    double volts[2];
    for (int end = 0; end < 2; end++) {
        volts[end] = reading->rail[end] == LW_RAIL_PLUS ? fit->point.plus_v[reading->tap[end]]
                                                        : fit->point.zero_v[reading->tap[end]];
    }
    return volts[0] - volts[1];
}

// What the meters would say, with the ladder as it is bent now: volts between their terminals, or
// with a load step by how much it lowers them.
static enum lw_status volts_at_meters(struct fit *fit, gsl_vector *volts)
{
    enum lw_status status = solve_bent(fit, LW_LOAD_OFF);
    for (size_t i = 0; status == LW_OK && i < fit->count; i++) {
        gsl_vector_set(volts, i, reading_at(fit, &fit->readings[i]));
    }
    if (status == LW_OK && is_stepped(fit)) {
        status = solve_bent(fit, LW_LOAD_RUNNING);
        for (size_t i = 0; status == LW_OK && i < fit->count; i++) {
            gsl_vector_set(volts, i, gsl_vector_get(volts, i) - reading_at(fit, &fit->readings[i]));
        }
    }
    return status;
}

// column = (volts with one number moved by `by` - volts at `base`) / by.
static enum lw_status slope(struct fit *fit, double *number, double by, const gsl_vector *base)
{
    double before = *number;
    *number = before + by;
    enum lw_status status = volts_at_meters(fit, fit->column);
    *number = before;
    gsl_vector_sub(fit->column, base);
    gsl_vector_scale(fit->column, 1 / by);
    return status;
}

static double load_scale(const struct lw_load *load, double scale)
{
    return load->kind == LW_LOAD_RESISTOR ? load->value / scale : load->value * scale;
}

static void add_outer(gsl_matrix *matrix, const gsl_vector *vector, double variance)
{
    gsl_blas_dger(variance, vector, vector, matrix);
}

enum common { COMMON_DRAW, COMMON_CONDUCTOR };

// All loads, or all spans, as they are in the plan times `scale`.
static void bend_all(struct fit *fit, const struct lw_ladder *plan, enum common common,
                     double scale)
{
    for (size_t tap = 0; tap < plan->tap_count; tap++) {
        const struct lw_tap *from = &plan->taps[tap];
        struct lw_tap *to = &fit->ladder.taps[tap];
        if (common == COMMON_DRAW) {
            to->load.value = load_scale(&from->load, scale);
        } else {
            to->span_plus_ohm = from->span_plus_ohm * scale;
            to->span_zero_ohm = from->span_zero_ohm * scale;
        }
    }
}

// A factor common to all, with relative standard uncertainty u, as a shared term.
static enum lw_status add_common_term(struct fit *fit, const struct lw_ladder *plan,
                                      enum common common, double u)
{
    const double by = 1e-3;
    if (!(u > 0)) {
        return LW_OK;
    }
    bend_all(fit, plan, common, 1 + by);
    enum lw_status status = volts_at_meters(fit, fit->column);
    bend_all(fit, plan, common, 1);
    gsl_vector_sub(fit->column, fit->at_plan);
    gsl_vector_scale(fit->column, 1 / by);
    if (status == LW_OK) {
        add_outer(fit->cholesky, fit->column, u * u);
    }
    return status;
}

// A load step's difference carries no constant error, but two readings' steps and noise.
static double own_variance(const struct fit *fit, const struct lw_voltmeter *meter)
{
    double reading = meter->step_v * meter->step_v / 12 + meter->noise_u_v * meter->noise_u_v;
    double least = 1e-12; // a meter without any error would leave nothing to weigh by
    return is_stepped(fit) ? 2 * reading + least
                           : meter->node_u_v * meter->node_u_v + reading + least;
}

static double shared_variance(const struct fit *fit, const struct lw_voltmeter *meter,
                              const struct lw_voltmeter *other)
{
    return !is_stepped(fit) && meter->kind == other->kind ? meter->kind_u_v * other->kind_u_v : 0;
}

static void meters_covariance(const struct fit *fit, gsl_matrix *covariance)
{
    for (size_t i = 0; i < fit->count; i++) {
        const struct lw_voltmeter *meter = &fit->readings[i].meter;
        for (size_t k = 0; k < fit->count; k++) {
            const struct lw_voltmeter *other = &fit->readings[k].meter;
            double own = i == k ? own_variance(fit, meter) : 0;
            gsl_matrix_set(covariance, i, k, own + shared_variance(fit, meter, other));
        }
    }
}

// One unknown of a source as a shared term.
static enum lw_status add_source_term(struct fit *fit, double *number, const double *u, size_t s)
{
    if (u == NULL || !(u[s] > 0)) {
        return LW_OK;
    }
    enum lw_status status = slope(fit, number, 1e-3, fit->at_plan);
    if (status == LW_OK) {
        add_outer(fit->cholesky, fit->column, u[s] * u[s]);
    }
    return status;
}

static enum lw_status factor_covariance(struct fit *fit, const struct lw_ladder *plan)
{
    meters_covariance(fit, fit->cholesky);
    for (size_t s = 0; s < plan->source_count; s++) {
        struct lw_source *source = &fit->ladder.sources[s];
        enum lw_status status = add_source_term(fit, &source->volts, fit->options->source_u_v, s);
        if (status == LW_OK) {
            status = add_source_term(fit, &source->plus_ohm, fit->options->source_u_ohm, s);
        }
        if (status != LW_OK) {
            return status;
        }
    }
    enum lw_status status = add_common_term(fit, plan, COMMON_DRAW, fit->options->draw_u);
    if (status == LW_OK) {
        status = add_common_term(fit, plan, COMMON_CONDUCTOR, fit->options->conductor_u);
    }
    if (status != LW_OK) {
        return status;
    }
    if (gsl_linalg_cholesky_decomp1(fit->cholesky) != 0) {
        return lw_fail(fit->error, LW_GARBLED, "the voltmeters' errors cannot be weighed");
    }
    return LW_OK;
}

// a^T C^-1 b
static double weighed(struct fit *fit, const gsl_vector *a, const gsl_vector *b)
{
    double product = 0;
    gsl_linalg_cholesky_solve(fit->cholesky, b, fit->whitened);
    gsl_blas_ddot(a, fit->whitened, &product);
    return product;
}

static void residual_from(const struct fit *fit, const gsl_vector *volts)
{
    for (size_t i = 0; i < fit->count; i++) {
        gsl_vector_set(fit->residual, i, fit->readings[i].meter.volts - gsl_vector_get(volts, i));
    }
}

static double *span_ohm(struct fit *fit, size_t span, bool on_zero_v)
{
    struct lw_tap *tap = &fit->ladder.taps[span];
    return on_zero_v ? &tap->span_zero_ohm : &tap->span_plus_ohm;
}

static enum lw_status score_rail(struct fit *fit, size_t span, bool on_zero_v, double visible,
                                 struct lw_span_fit *out)
{
    *out = (struct lw_span_fit){.extra_ohm = NAN,
                                .u_ohm = NAN,
                                .z = 0,
                                .smallest_visible_ohm = INFINITY,
                                .on_zero_v = on_zero_v};
    const struct lw_tap *tap = &fit->ladder.taps[span];
    if (span == 0 || (on_zero_v ? tap->cut_zero : tap->cut_plus)) {
        return LW_OK;
    }
    enum lw_status status = slope(fit, span_ohm(fit, span, on_zero_v), 1e-4, fit->at_plan);
    if (status != LW_OK) {
        return status;
    }
    double information = weighed(fit, fit->column, fit->column);
    if (information > 1e-9) {
        out->u_ohm = 1 / sqrt(information);
        out->extra_ohm = weighed(fit, fit->column, fit->residual) / information;
        out->z = out->extra_ohm / out->u_ohm;
        out->chi2_gain = out->z > 0 ? out->z * out->z : 0;
        out->smallest_visible_ohm = visible * out->u_ohm;
    }
    return LW_OK;
}

// Of two rails the one that explains more; what is visible is so on both.
static enum lw_status score_span(struct fit *fit, size_t span, double visible,
                                 struct lw_span_fit *out)
{
    enum lw_status status = score_rail(fit, span, false, visible, out);
    if (status == LW_OK && fit->rails_apart) {
        struct lw_span_fit zero;
        status = score_rail(fit, span, true, visible, &zero);
        double visible_ohm = fmax(out->smallest_visible_ohm, zero.smallest_visible_ohm);
        *out = zero.chi2_gain > out->chi2_gain ? zero : *out;
        out->smallest_visible_ohm = visible_ohm;
    }
    return status;
}

static enum lw_status score_draw(struct fit *fit, size_t tap, struct lw_draw_fit *out)
{
    *out = (struct lw_draw_fit){.extra_share = NAN, .u_share = NAN};
    struct lw_load *load = &fit->ladder.taps[tap].load;
    if (load->kind == LW_LOAD_NONE || !(load->value > 0) || is_stepped(fit) ||
        fit->states[tap] != LW_LOAD_RUNNING) {
        return LW_OK;
    }
    // By a thousandth of the draw; a resistor's falls with its ohms.
    double by = (load->kind == LW_LOAD_RESISTOR ? -1e-3 : 1e-3) * load->value;
    enum lw_status status = slope(fit, &load->value, by, fit->at_plan);
    gsl_vector_scale(fit->column, by * 1e3);
    double information = weighed(fit, fit->column, fit->column);
    if (status == LW_OK && information > 1e-9) {
        out->u_share = 1 / sqrt(information);
        out->extra_share = weighed(fit, fit->column, fit->residual) / information;
        out->chi2_gain = out->extra_share * out->extra_share * information;
    }
    return status;
}

// chi-square of the readings with the ladder as it is bent now; INFINITY without an operating
// point.
static enum lw_status chi2_here(struct fit *fit, gsl_vector *here, double *chi2)
{
    enum lw_status status = volts_at_meters(fit, here);
    *chi2 = INFINITY;
    if (status == LW_OK) {
        residual_from(fit, here);
        *chi2 = weighed(fit, fit->residual, fit->residual);
    }
    return status == LW_GARBLED ? LW_OK : status;
}

// Gauss and Newton in one unknown, the span's extra resistance, which cannot be below 0. A step
// that leaves no operating point is halved.
static enum lw_status fit_again(struct fit *fit, size_t span, gsl_vector *here,
                                struct lw_span_fit *out)
{
    double *ohm = span_ohm(fit, span, out->on_zero_v);
    double planned = *ohm, best = 0, best_chi2 = fit->chi2, step_ohm = fmax(out->extra_ohm, 0);
    enum lw_status status = LW_OK;
    for (int i = 0; i < FIT_STEPS && status == LW_OK; i++) {
        double chi2;
        *ohm = planned + fmax(best + step_ohm, 0);
        status = chi2_here(fit, here, &chi2);
        if (status != LW_OK || chi2 > best_chi2) {
            step_ohm /= 2;
            continue;
        }
        best = *ohm - planned;
        best_chi2 = chi2;
        status = slope(fit, ohm, 1e-4, here);
        double information = weighed(fit, fit->column, fit->column);
        step_ohm = weighed(fit, fit->column, fit->residual) / information;
        out->u_ohm = 1 / sqrt(information);
        if (fabs(step_ohm) < 1e-6 * (best + 1e-3)) {
            break;
        }
    }
    *ohm = planned;
    out->extra_ohm = best;
    out->chi2_gain = fit->chi2 - best_chi2;
    return status;
}

// The span with the largest gain that is not done yet; 0: none.
static size_t next_best(const struct lw_weak_span *result, const bool *done)
{
    size_t best = 0;
    for (size_t k = 1; k < result->span_count; k++) {
        bool better = !done[k] && result->fits[k].chi2_gain > 0 &&
                      (best == 0 || result->fits[k].chi2_gain > result->fits[best].chi2_gain);
        best = better ? k : best;
    }
    return best;
}

// The spans with the largest gains so far, each once.
static enum lw_status fit_best_again(struct fit *fit, struct lw_weak_span *result)
{
    bool *done = calloc(result->span_count, sizeof *done);
    gsl_vector *here = gsl_vector_alloc(fit->count);
    enum lw_status status = done != NULL && here != NULL
                                ? LW_OK
                                : lw_fail(fit->error, LW_MEMORY, "no memory for a fit");
    for (int i = 0; status == LW_OK && i < FIT_AGAIN; i++) {
        size_t best = next_best(result, done);
        if (best == 0) {
            break;
        }
        done[best] = true;
        status = fit_again(fit, best, here, &result->fits[best]);
    }
    free(done);
    gsl_vector_free(here);
    return status;
}

static bool is_of_node(const struct lw_probe *reading)
{
    return reading->tap[0] == reading->tap[1] && reading->meter.kind >= 0;
}

// Each node's own reading alone against all others.
static void score_meters(struct fit *fit, struct lw_weak_span *result)
{
    gsl_linalg_cholesky_solve(fit->cholesky, fit->residual, fit->whitened);
    for (size_t i = 0; i < fit->count; i++) {
        if (is_of_node(&fit->readings[i])) {
            result->meters[fit->readings[i].tap[0]].offset_v = gsl_vector_get(fit->whitened, i);
        }
    }
    for (size_t i = 0; i < fit->count; i++) {
        if (is_of_node(&fit->readings[i])) {
            struct lw_meter_fit *out = &result->meters[fit->readings[i].tap[0]];
            gsl_vector_set_basis(fit->column, i);
            double information = weighed(fit, fit->column, fit->column);
            out->chi2_gain = out->offset_v * out->offset_v / information;
            out->offset_v /= information;
            out->u_v = 1 / sqrt(information);
        }
    }
}

// What is that much better is no longer taken to be as good: 95 % of chi-square with one degree of
// freedom.
static const double as_good = 3.8415;

static void choose(struct lw_weak_span *result, const struct criticals *critical)
{
    result->span = 0;
    for (size_t k = 1; k < result->span_count; k++) {
        if (result->span == 0 || result->fits[k].chi2_gain > result->fits[result->span].chi2_gain) {
            result->span = k;
        }
    }
    double gain = result->fits[result->span].chi2_gain;
    result->found = result->span > 0 && gain > critical->found * critical->found;
    result->proved = result->found && gain > critical->proved * critical->proved;
    result->low = result->high = result->span;
    for (size_t k = 1; k < result->span_count; k++) {
        if (gain - result->fits[k].chi2_gain < as_good) {
            result->low = k < result->low ? k : result->low;
            result->high = k > result->high ? k : result->high;
        }
    }
}

static void choose_draw(struct lw_weak_span *result, double critical)
{
    for (size_t tap = 0; tap < result->span_count; tap++) {
        if (result->draws[tap].chi2_gain > result->draws[result->draw_tap].chi2_gain) {
            result->draw_tap = tap;
        }
    }
    double gain = result->draws[result->draw_tap].chi2_gain;
    result->draw_found = gain > critical * critical && gain > result->fits[result->span].chi2_gain;
}

// A reading that stands alone against all others is its voltmeter's, not the chain's.
static void choose_meter(struct lw_weak_span *result, double critical)
{
    for (size_t tap = 0; tap < result->span_count; tap++) {
        if (result->meters[tap].chi2_gain > result->meters[result->meter_tap].chi2_gain) {
            result->meter_tap = tap;
        }
    }
    double gain = result->meters[result->meter_tap].chi2_gain;
    double best_other =
        fmax(result->fits[result->span].chi2_gain, result->draws[result->draw_tap].chi2_gain);
    result->meter_found = gain > critical * critical && gain > best_other + as_good;
    if (result->meter_found) {
        result->found = result->proved = result->draw_found = false;
    }
}

static enum lw_status find_criticals(const struct fit *fit, size_t taps, struct criticals *critical)
{
    double spans = taps > 1 ? (double)taps - 1 : 1;
    double looked_at = spans * (fit->rails_apart ? 2 : 1);
    enum lw_status status =
        lw_quantile_normal(LW_TAIL_ABOVE, found_share / looked_at, &critical->found, fit->error);
    if (status == LW_OK) {
        status = lw_quantile_normal(LW_TAIL_ABOVE, proved_share / looked_at, &critical->proved,
                                    fit->error);
    }
    return status == LW_OK ? lw_quantile_normal(LW_TAIL_ABOVE, proved_share / 2 / (double)taps,
                                                &critical->other, fit->error)
                           : status;
}

static enum lw_status score_all(struct fit *fit, size_t taps, double visible,
                                struct lw_weak_span *result)
{
    enum lw_status status = LW_OK;
    for (size_t k = 0; k < taps && status == LW_OK; k++) {
        result->meters[k] = (struct lw_meter_fit){NAN, NAN, 0};
        status = score_span(fit, k, visible, &result->fits[k]);
        if (status == LW_OK) {
            status = score_draw(fit, k, &result->draws[k]);
        }
    }
    return status;
}

static enum lw_status find(struct fit *fit, const struct lw_ladder *plan,
                           struct lw_weak_span *result)
{
    struct criticals critical = {NAN, NAN, NAN};
    enum lw_status status = find_criticals(fit, plan->tap_count, &critical);
    if (status == LW_OK) {
        status = volts_at_meters(fit, fit->at_plan);
    }
    if (status == LW_OK) {
        status = factor_covariance(fit, plan);
    }
    if (status != LW_OK) {
        return status;
    }
    residual_from(fit, fit->at_plan);
    fit->chi2 = weighed(fit, fit->residual, fit->residual);
    status = score_all(fit, plan->tap_count, critical.proved + 1.6449, result);
    if (status == LW_OK && !is_stepped(fit)) {
        score_meters(fit, result);
    }
    if (status == LW_OK) {
        status = fit_best_again(fit, result);
    }
    if (status == LW_OK) {
        choose(result, &critical);
        choose_draw(result, critical.other);
        choose_meter(result, critical.other);
        result->chi2 = fit->chi2;
        result->dof = (double)fit->count;
    }
    return status;
}

enum lw_status lw_weak_span_find(const struct lw_ladder *ladder, const enum lw_load_state *states,
                                 const struct lw_voltmeter *meters,
                                 const struct lw_weak_span_options *options,
                                 struct lw_weak_span *result, struct lw_error *error)
{
    struct fit fit = {.states = states, .meters = meters, .options = options, .error = error};
    *result = (struct lw_weak_span){.span_count = ladder->tap_count};
    result->fits = calloc(ladder->tap_count, sizeof *result->fits);
    result->draws = calloc(ladder->tap_count, sizeof *result->draws);
    result->meters = calloc(ladder->tap_count, sizeof *result->meters);
    enum lw_status status = result->fits != NULL && result->draws != NULL && result->meters != NULL
                                ? fit_init(&fit, ladder)
                                : lw_fail(error, LW_MEMORY, "no memory for spans");
    if (status == LW_OK) {
        status = find(&fit, ladder, result);
    }
    fit_finish(&fit);
    if (status != LW_OK) {
        lw_weak_span_finish(result);
    }
    return status;
}

void lw_weak_span_finish(struct lw_weak_span *result)
{
    if (result != NULL) {
        free(result->fits);
        free(result->draws);
        free(result->meters);
        *result = (struct lw_weak_span){0};
    }
}
