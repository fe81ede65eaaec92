// SPDX-License-Identifier: GPL-3.0-or-later
//
// A band of frequencies for the search and one on each side of it for the floor, for each of the
// two grids; the better candidate wins and pays for both searches.
#include "stats/mains.h"

#include "stats/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double nominal_hz[] = {50, 60};
enum { GRIDS = 2, FLOOR_COUNT = 200, WINDOW_READINGS = 500, NEIGHBOURS = 5 };

static const double tolerance = 0.01;  // of the nominal frequency
static const double floor_from = 0.02; // nearest and farthest distance of the floor's frequencies
static const double floor_to = 0.1;
static const double near_s = 0.04;    // neighbours reach at least two periods of 50 Hz
static const double oversampling = 4; // frequencies per 1 / duration

struct candidate {
    double frequency_hz, power, floor, false_alarm;
};

// Median of powers of noise over ln 2, which is the mean of an exponential distribution.
static enum lw_status noise_floor(const double *time_s, const double *value, size_t n,
                                  double nominal, double *floor, struct lw_error *error)
{
    double frequency_hz[FLOOR_COUNT], power[FLOOR_COUNT];
    for (int i = 0; i < FLOOR_COUNT; i++) {
        double part = (i / 2 + 0.5) / (FLOOR_COUNT / 2);
        double away = floor_from + (floor_to - floor_from) * part;
        frequency_hz[i] = nominal * (i % 2 ? 1 + away : 1 - away);
    }
    enum lw_status status = lw_lomb(time_s, value, n, frequency_hz, FLOOR_COUNT, power, error);
    *floor = status ? NAN : lw_median(power, FLOOR_COUNT) / M_LN2;
    return status;
}

// Independent frequencies in a band, at least one.
static double independent_in(double width_hz, double duration_s)
{
    return fmax(1, width_hz * duration_s);
}

// Tail of power over a floor that was itself estimated from as many independent frequencies as the
// duration resolves: Student's way with exponentials, (1 + x/m)^-m. A median is worth 0.48 of a
// mean.
static double tail(double power, double floor, double floor_width_hz, double duration_s)
{
    double m = 0.48 * fmin(FLOOR_COUNT, independent_in(floor_width_hz, duration_s));
    return exp(-m * log1p(power / floor / m));
}

// The expected number of peaks of noise above a level, in a band searched without gaps, is that of
// Baluev (2008): width x duration x sqrt(pi/3 power) times the single-frequency probability, for
// times spread evenly over the duration.
static enum lw_status strongest(const double *time_s, const double *value, size_t n, double nominal,
                                struct candidate *best, struct lw_error *error)
{
    double duration_s = time_s[n - 1] - time_s[0];
    double width_hz = 2 * tolerance * nominal;
    size_t count = (size_t)ceil(fmin(width_hz * duration_s * oversampling, 1e6)) + 1;
    double *frequency_hz = malloc(2 * count * sizeof *frequency_hz);
    if (!frequency_hz) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu frequencies", count);
    }
    double *power = frequency_hz + count;
    for (size_t i = 0; i < count; i++) {
        double part = count > 1 ? (double)i / (double)(count - 1) : 0.5;
        frequency_hz[i] = nominal * (1 - tolerance) + width_hz * part;
    }
    enum lw_status status = lw_lomb(time_s, value, n, frequency_hz, count, power, error);
    if (!status) {
        status = noise_floor(time_s, value, n, nominal, &best->floor, error);
    }
    size_t at = 0;
    for (size_t i = 1; i < count && !status; i++) {
        at = power[i] > power[at] ? i : at;
    }
    best->frequency_hz = frequency_hz[at];
    best->power = power[at];
    free(frequency_hz);
    double single =
        tail(best->power, best->floor, 2 * (floor_to - floor_from) * nominal, duration_s);
    double peaks = width_hz * duration_s * sqrt(M_PI / 3 * best->power / best->floor);
    best->false_alarm = -expm1(-GRIDS * single * (1 + peaks));
    return status;
}

// How much of a tone's power at `frequency_hz` regular times fold onto a slow frequency: the
// largest power of the times' own spectrum near it.
static double folded(const double *time_s, size_t n, double frequency_hz)
{
    size_t used = n < WINDOW_READINGS ? n : WINDOW_READINGS;
    double duration_s = time_s[used - 1] - time_s[0];
    double half_rate_hz = 0.5 * (double)(used - 1) / duration_s;
    double reach_hz = fmin(half_rate_hz, frequency_hz / 2);
    double largest = 0;
    for (double off = -reach_hz; off <= reach_hz; off += 0.4 / duration_s) {
        double omega = 2 * M_PI * (frequency_hz + off);
        double c = 0, s = 0;
        for (size_t i = 0; i < used; i++) {
            c += cos(omega * (time_s[i] - time_s[0]));
            s += sin(omega * (time_s[i] - time_s[0]));
        }
        largest = fmax(largest, (c * c + s * s) / ((double)used * (double)used));
    }
    return largest;
}

// Takes slow changes away: each reading less the mean of its neighbours, without itself, so that a
// tone at the mains keeps its size. Times that keep some regularity fold slow changes onto the
// mains, and drift would pass for hum.
static void without_slow(const double *time_s, const double *value, size_t n, double *fast)
{
    size_t first = 0, last = 0; // the neighbourhood, inclusive
    double sum = 0;             // of the values in it, less the very first value
    for (size_t i = 0; i < n; i++) {
        while (last + 1 < n && (last < i + NEIGHBOURS || time_s[last + 1] < time_s[i] + near_s)) {
            last++;
            sum += value[last] - value[0];
        }
        while (first + NEIGHBOURS < i && time_s[first] < time_s[i] - near_s) {
            sum -= value[first] - value[0];
            first++;
        }
        double own = value[i] - value[0];
        fast[i] = own - (sum - own) / (double)(last - first);
    }
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
    mains->visible = folded(time_s, n, best.frequency_hz) < 0.5;
    if (lw_tone_fit(time_s, fast, n, best.frequency_hz, &mains->tone, NULL)) {
        mains->visible = false;
    }
    mains->tone.false_alarm = mains->visible ? best.false_alarm : 1;
    return LW_OK;
}

enum lw_status lw_mains_find(const double *time_s, const double *value, size_t n,
                             struct lw_mains *mains, struct lw_error *error)
{
    *mains = (struct lw_mains){{NAN, NAN, NAN, NAN, NAN, 1}, NAN, false};
    if (n < 16 || !(time_s[n - 1] > time_s[0])) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to look for the mains", n);
    }
    double *fast = malloc(n * sizeof *fast);
    if (!fast) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    without_slow(time_s, value, n, fast);
    enum lw_status status = search(time_s, fast, n, mains, error);
    free(fast);
    return status;
}
