// SPDX-License-Identifier: GPL-3.0-or-later
//
// The band is searched in two parts: below a tenth of the poll rate in the readings as they are,
// above it in the readings without their slow changes. Both parts share one false-alarm
// probability.
#include "stats/tones.h"

#include "stats/floor.h"
#include "stats/slow.h"
#include "stats/spread.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double oversampling = 4;  // frequencies per 1 / duration
static const double floor_width = 64;  // of a block of the floor, in 1 / duration
static const double slowest = 30;      // lowest frequency searched, in 1 / duration
static const double split_rate = 0.1;  // between the parts, in poll rates
static const double looks_alike = 0.5; // share above which the times repeat
static const double most_frequencies = 2e6;

enum { FEWEST = 64, FIRST_STEPS = 3, SWEEPS = 2 };

struct search {
    const double *time_s;
    size_t n;
    double duration_s, rate_hz;
    double *left;          // the readings without the tones found, n
    double *fast;          // the same without slow changes, n
    double *cosine, *sine; // of one tone, n each
    double *change, *wave; // scratch of n each
    double *power, *floor; // of the longer part
    size_t room;
    unsigned together;
    struct lw_tones *tones;
};

struct peak {
    double frequency_hz, ratio;
};

static bool is_slow(const struct search *search, double frequency_hz)
{
    return frequency_hz < split_rate * search->rate_hz;
}

static double split_hz(const struct search *search)
{
    return fmin(fmax(split_rate * search->rate_hz, search->tones->low_hz), search->tones->high_hz);
}

static size_t frequencies(const struct search *search, double low_hz, double high_hz)
{
    return (size_t)ceil((high_hz - low_hz) * search->duration_s * oversampling) + 1;
}

static enum lw_status check(const double *time_s, size_t n, double high_hz, struct lw_error *error)
{
    if (n < FEWEST || !(time_s[n - 1] > time_s[0])) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to look for tones", n);
    }
    double duration_s = time_s[n - 1] - time_s[0];
    if (!(high_hz > slowest / duration_s) ||
        2 * high_hz * duration_s * oversampling > most_frequencies) {
        return lw_fail(error, LW_USAGE, "tones up to %g Hz can't be looked for in %g s", high_hz,
                       duration_s);
    }
    return LW_OK;
}

static void search_finish(struct search *search)
{
    free(search->left);
    free(search->power);
}

static enum lw_status search_start(struct search *search, const double *value,
                                   struct lw_error *error)
{
    size_t n = search->n;
    double low_hz = search->tones->low_hz, high_hz = search->tones->high_hz;
    search->room = frequencies(search, low_hz, high_hz);
    search->left = malloc(6 * n * sizeof(double));
    search->power = malloc(2 * search->room * sizeof(double));
    if (!search->left || !search->power) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu frequencies", search->room);
    }
    search->fast = search->left + n;
    search->cosine = search->fast + n;
    search->sine = search->cosine + n;
    search->change = search->sine + n;
    search->wave = search->change + n;
    search->floor = search->power + search->room;
    lw_line_residuals(search->time_s, value, n, search->left);
    return LW_OK;
}

// The readings in which a tone of that frequency is looked for.
static const double *readings_for(const struct search *search, double frequency_hz)
{
    return is_slow(search, frequency_hz) ? search->left : search->fast;
}

// Keeps the highest peak over its floor between low_hz and high_hz, if higher than what `peak`
// holds.
static enum lw_status look(struct search *search, double low_hz, double high_hz,
                           const double *readings, struct peak *peak, struct lw_error *error)
{
    if (!(high_hz > low_hz)) {
        return LW_OK;
    }
    size_t count = frequencies(search, low_hz, high_hz);
    double step_hz = (high_hz - low_hz) / (double)(count - 1);
    size_t block = (size_t)(floor_width * oversampling);
    enum lw_status status = lw_lomb_band(search->time_s, readings, search->n, low_hz, step_hz,
                                         count, search->power, error);
    if (!status) {
        status = lw_floor_under(search->power, count, block, search->floor, error);
    }
    for (size_t i = 0; i < count && !status; i++) {
        double ratio = search->power[i] / search->floor[i];
        if (ratio > peak->ratio) {
            *peak = (struct peak){low_hz + step_hz * (double)i, ratio};
        }
    }
    return status;
}

// Adds `times` the tone to what is left.
static void add_tone(struct search *search, const struct lw_tone *tone, double times)
{
    for (size_t i = 0; i < search->n; i++) {
        double phase = 2 * M_PI * tone->frequency_hz * search->time_s[i] + tone->phase_rad;
        search->left[i] += times * tone->amplitude * cos(phase);
    }
}

static void filter(const struct search *search, double *values)
{
    memcpy(search->wave, values, search->n * sizeof *values);
    lw_without_slow(search->time_s, search->wave, search->n, 0, values);
}

// The tone's waves at its frequency, through the filter that its readings go through.
static void make_waves(struct search *search, double frequency_hz)
{
    lw_tone_waves(search->time_s, search->n, frequency_hz, search->cosine, search->sine);
    if (!is_slow(search, frequency_hz)) {
        filter(search, search->cosine);
        filter(search, search->sine);
        lw_without_slow(search->time_s, search->left, search->n, 0, search->fast);
    }
}

// How the tone changes when its frequency does, per hertz, with the phase held in the middle of the
// time.
static void make_change(struct search *search, const struct lw_tone *tone)
{
    double *change = search->change;
    double middle_s = (search->time_s[0] + search->time_s[search->n - 1]) / 2;
    for (size_t i = 0; i < search->n; i++) {
        double phase = 2 * M_PI * tone->frequency_hz * search->time_s[i] + tone->phase_rad;
        change[i] = -2 * M_PI * (search->time_s[i] - middle_s) * tone->amplitude * sin(phase);
    }
    if (!is_slow(search, tone->frequency_hz)) {
        filter(search, change);
    }
}

// Least squares of the readings on a constant, both waves and the change: its coefficient is the
// correction of the frequency. The change is scaled to the waves' size.
static void correct_frequency(struct search *search, struct lw_tone *tone)
{
    enum { TERMS = 4 };
    double products[TERMS * TERMS] = {0}, rights[TERMS] = {0}, solved[TERMS];
    double scale = 1 / (2 * M_PI * search->duration_s * tone->amplitude);
    const double *readings = readings_for(search, tone->frequency_hz);
    for (size_t i = 0; i < search->n; i++) {
        const double term[TERMS] = {1, search->cosine[i], search->sine[i],
                                    scale * search->change[i]};
        for (int r = 0; r < TERMS; r++) {
            rights[r] += term[r] * readings[i];
            for (int c = 0; c <= r; c++) {
                products[TERMS * r + c] += term[r] * term[c];
            }
        }
    }
    gsl_matrix_view a = gsl_matrix_view_array(products, TERMS, TERMS);
    gsl_vector_const_view b = gsl_vector_const_view_array(rights, TERMS);
    gsl_vector_view x = gsl_vector_view_array(solved, TERMS);
    if (gsl_linalg_cholesky_decomp1(&a.matrix) != GSL_SUCCESS ||
        gsl_linalg_cholesky_solve(&a.matrix, &b.vector, &x.vector) != GSL_SUCCESS) {
        return; // the times cannot tell the change from the waves
    }
    double correction_hz = scale * solved[TERMS - 1], reach_hz = 0.5 / search->duration_s;
    if (isfinite(correction_hz)) {
        tone->frequency_hz += fmin(fmax(correction_hz, -reach_hz), reach_hz);
    }
}

static enum lw_status fit(struct search *search, struct lw_tone *tone, struct lw_error *error)
{
    make_waves(search, tone->frequency_hz);
    double false_alarm = tone->false_alarm;
    enum lw_status status =
        lw_tone_fit_waves(search->cosine, search->sine, readings_for(search, tone->frequency_hz),
                          search->n, search->duration_s, tone, error);
    tone->false_alarm = false_alarm;
    return status;
}

// Fits the tone to what is left, its frequency in `steps` steps of Gauss and Newton, and takes it
// away.
static enum lw_status take(struct search *search, struct lw_tone *tone, int steps,
                           struct lw_error *error)
{
    enum lw_status status = fit(search, tone, error);
    for (int i = 0; i < steps && !status; i++) {
        make_change(search, tone);
        correct_frequency(search, tone);
        status = fit(search, tone, error);
    }
    if (!status) {
        add_tone(search, tone, -1);
    }
    return status;
}

// Fits every tone again to what the others leave.
static enum lw_status take_again(struct search *search, struct lw_error *error)
{
    enum lw_status status = LW_OK;
    size_t fits = search->tones->count > 1 ? SWEEPS * search->tones->count : 0;
    for (size_t i = 0; i < fits && !status; i++) {
        struct lw_tone *tone = &search->tones->tone[i % search->tones->count];
        add_tone(search, tone, 1);
        status = take(search, tone, 1, error);
    }
    return status;
}

// Finds and takes away the next tone; *found is false when there is none.
static enum lw_status next_tone(struct search *search, double level, bool *found,
                                struct lw_error *error)
{
    struct lw_tones *tones = search->tones;
    struct peak peak = {0};
    *found = false;
    lw_without_slow(search->time_s, search->left, search->n, 0, search->fast);
    enum lw_status status =
        look(search, tones->low_hz, split_hz(search), search->left, &peak, error);
    if (!status) {
        status = look(search, split_hz(search), tones->high_hz, search->fast, &peak, error);
    }
    double width_hz = tones->high_hz - tones->low_hz;
    double false_alarm = lw_floor_false_alarm(peak.ratio, floor_width, width_hz, search->duration_s,
                                              search->together);
    if (status || !(false_alarm < level)) {
        return status;
    }
    struct lw_tone tone = {.frequency_hz = peak.frequency_hz, .false_alarm = false_alarm};
    status = take(search, &tone, FIRST_STEPS, error);
    if (status) {
        return status;
    }
    tones->tone[tones->count++] = tone;
    *found = true;
    return take_again(search, error);
}

static enum lw_status find(struct search *search, const double *value, double level,
                           struct lw_error *error)
{
    enum lw_status status = search_start(search, value, error);
    bool found = true;
    while (!status && found && search->tones->count < LW_MOST_TONES) {
        status = next_tone(search, level, &found, error);
    }
    search_finish(search);
    return status;
}

enum lw_status lw_tones_find(const double *time_s, const double *value, size_t n, double high_hz,
                             unsigned together, double level, struct lw_tones *tones,
                             struct lw_error *error)
{
    *tones = (struct lw_tones){0};
    enum lw_status status = check(time_s, n, high_hz, error);
    if (!status) {
        status = lw_times_repeat(time_s, n, 2 * high_hz, &tones->repeat, error);
    }
    if (status) {
        return status;
    }
    double duration_s = time_s[n - 1] - time_s[0];
    tones->low_hz = slowest / duration_s;
    tones->high_hz = high_hz;
    if (tones->repeat.share > looks_alike && tones->repeat.repeat_hz / 2 < high_hz) {
        tones->apparent = true;
        tones->high_hz = fmax(tones->repeat.repeat_hz / 2, tones->low_hz);
    }
    struct search search = {.time_s = time_s,
                            .n = n,
                            .duration_s = duration_s,
                            .rate_hz = (double)(n - 1) / duration_s,
                            .together = together,
                            .tones = tones};
    return find(&search, value, level, error);
}

double lw_tone_share_left(double frequency_hz, double averaging_s, double timing_u_s)
{
    double turns = M_PI * frequency_hz * averaging_s;
    double averaged = turns != 0 ? sin(turns) / turns : 1;
    double spread = 2 * M_PI * frequency_hz * timing_u_s;
    return averaged * exp(-spread * spread / 2);
}
