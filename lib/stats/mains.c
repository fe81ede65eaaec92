// SPDX-License-Identifier: GPL-3.0-or-later
//
// A band of frequencies for the search and one on each side of it for the floor, for each of the
// two grids; the better candidate wins and pays for both searches.
#include "stats/mains.h"

#include "stats/floor.h"
#include "stats/slow.h"
#include "stats/times.h"

#include <math.h>
#include <stdlib.h>

static const double nominal_hz[] = {50, 60};
enum { GRIDS = 2, ENOUGH_TIMES = 2000, REFINEMENTS = 12 };

static const double tolerance = 0.01;  // of the nominal frequency
static const double floor_from = 0.02; // nearest and farthest distance of the floor's frequencies
static const double floor_to = 0.1;
static const double near_s = 0.04;        // neighbours reach at least two periods of 50 Hz
static const double oversampling = 4;     // frequencies per 1 / duration
static const double worth_refining = 0.1; // false-alarm probability
static const double longest_s = 12000;    // of readings used: bounds time and memory

// Evenly spaced frequencies and the power at each.
struct band {
    double low_hz, step_hz;
    size_t count;
    double *power;
};

struct candidate {
    double frequency_hz, floor, false_alarm;
};

static enum lw_status band_start(struct band *band, double low_hz, double high_hz,
                                 double duration_s, struct lw_error *error)
{
    band->low_hz = low_hz;
    band->count = (size_t)ceil(fmax((high_hz - low_hz) * duration_s * oversampling, 32)) + 1;
    band->step_hz = (high_hz - low_hz) / (double)(band->count - 1);
    band->power = calloc(band->count, sizeof *band->power);
    return band->power ? LW_OK
                       : lw_fail(error, LW_MEMORY, "no memory for %zu frequencies", band->count);
}

static double frequency(const struct band *band, size_t i)
{
    return band->low_hz + band->step_hz * (double)i;
}

// The highest power within the tolerance, over the floor beside it. The powers are used up: those
// of the floor are gathered at the start of the band's array.
static struct candidate strongest_in(struct band *band, double nominal, double duration_s)
{
    size_t best = band->count / 2, beside = 0;
    double highest = 0;
    for (size_t i = 0; i < band->count; i++) {
        double away = fabs(frequency(band, i) / nominal - 1);
        double power = band->power[i];
        if (away <= tolerance && power > highest) {
            highest = power;
            best = i;
        }
        if (away >= floor_from) {
            band->power[beside++] = power;
        }
    }
    double level = lw_floor_of(band->power, beside);
    double independent = 2 * (floor_to - floor_from) * nominal * duration_s;
    return (struct candidate){frequency(band, best), level,
                              lw_floor_false_alarm(highest / level, independent,
                                                   2 * tolerance * nominal, duration_s, GRIDS)};
}

static enum lw_status strongest(const double *time_s, const double *value, size_t n, double nominal,
                                struct candidate *best, struct lw_error *error)
{
    double duration_s = time_s[n - 1] - time_s[0];
    struct band band;
    enum lw_status status =
        band_start(&band, nominal * (1 - floor_to), nominal * (1 + floor_to), duration_s, error);
    if (!status) {
        status = lw_lomb_band(time_s, value, n, band.low_hz, band.step_hz, band.count, band.power,
                              error);
    }
    if (!status) {
        *best = strongest_in(&band, nominal, duration_s);
    }
    free(band.power);
    return status;
}

// Climbs from the grid of frequencies to the top of the peak, by golden section.
static enum lw_status refine(const double *time_s, const double *fast, size_t n,
                             struct candidate *best, struct lw_error *error)
{
    double step_hz = 1 / (oversampling * (time_s[n - 1] - time_s[0]));
    double low = best->frequency_hz - step_hz, high = best->frequency_hz + step_hz;
    for (int i = 0; i < REFINEMENTS; i++) {
        double third = 0.381966 * (high - low);
        double at[2] = {low + third, high - third}, power[2];
        enum lw_status status = lw_lomb(time_s, fast, n, at, 2, power, error);
        if (status) {
            return status;
        }
        low = power[0] > power[1] ? low : at[0];
        high = power[0] > power[1] ? at[1] : high;
    }
    best->frequency_hz = (low + high) / 2;
    return LW_OK;
}

static enum lw_status search(const double *time_s, const double *fast, size_t n,
                             struct lw_mains *mains, struct lw_error *error)
{
    struct candidate best = {.false_alarm = INFINITY};
    for (int grid = 0; grid < GRIDS; grid++) {
        struct candidate candidate = {0};
        enum lw_status status = strongest(time_s, fast, n, nominal_hz[grid], &candidate, error);
        if (status) {
            return status;
        }
        best = candidate.false_alarm < best.false_alarm ? candidate : best;
    }
    mains->floor = best.floor;
    enum lw_status status = LW_OK;
    if (best.false_alarm < worth_refining) {
        status = refine(time_s, fast, n, &best, error);
    }
    double share = 1;
    if (!status) {
        status = lw_times_folding(time_s, n < ENOUGH_TIMES ? n : ENOUGH_TIMES, best.frequency_hz,
                                  &share, error);
    }
    if (!status) {
        status = lw_tone_fit(time_s, fast, n, best.frequency_hz, &mains->tone, error);
    }
    // A tone that can't be fitted at these times is one more that they don't show.
    mains->visible = !status && share < 0.5;
    mains->tone.false_alarm = mains->visible ? best.false_alarm : 1;
    if (status != LW_GARBLED) {
        return status;
    }
    if (error) {
        *error = (struct lw_error){0};
    }
    return LW_OK;
}

enum lw_status lw_mains_find(const double *time_s, const double *value, size_t n,
                             struct lw_mains *mains, struct lw_error *error)
{
    *mains = (struct lw_mains){{NAN, NAN, NAN, NAN, NAN, 1}, NAN, false};
    while (n > 0 && time_s[n - 1] - time_s[0] > longest_s) {
        n--;
    }
    if (n < 16 || !(time_s[n - 1] > time_s[0])) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to look for the mains", n);
    }
    double *fast = malloc(n * sizeof *fast);
    if (!fast) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    lw_without_slow(time_s, value, n, near_s, fast);
    enum lw_status status = search(time_s, fast, n, mains, error);
    free(fast);
    return status;
}
