// SPDX-License-Identifier: GPL-3.0-or-later
//
// A rest is a median, so that a reading or two that were already under way do not shift it.
#include "check/touch_rest.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double noise_needs = 12, // a deflection is above so many standard deviations
    steps_need = 6,                   // and so many steps of the resolution
    follows = 0.25;                   // of the need: the rest follows what is below

// From the rest, by the shorter way round where the reading begins anew after a turn.
double lw_ear_away(const struct lw_ear *ear, double value)
{
    double from = value - ear->rest;
    return ear->is.turns > 0 ? from - ear->is.turns * nearbyint(from / ear->is.turns) : from;
}

double lw_ear_score(const struct lw_ear *ear)
{
    return ear->silent || isnan(ear->rest) ? 0 : fabs(ear->from_rest) / ear->need;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(const double *values, size_t count)
{
    double sorted[LW_EAR_RING];
    memcpy(sorted, values, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, by_size);
    return count % 2 == 1 ? sorted[count / 2] : (sorted[count / 2 - 1] + sorted[count / 2]) / 2;
}

// Readings of a ring on one side of the seam of a turn.
static void unwound(const struct lw_ear *ear, double *values, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        values[i] = ear->ring[i];
        if (ear->is.turns > 0) {
            double from = values[i] - ear->ring[0];
            values[i] -= ear->is.turns * nearbyint(from / ear->is.turns);
        }
    }
}

// 1.4826 times the median absolute deviation is the standard deviation of normal noise (Rousseeuw
// and Croux 1993).
static double robust_spread(const double *values, size_t count)
{
    double away_from[LW_EAR_RING], middle = median(values, count);
    for (size_t i = 0; i < count; i++) {
        away_from[i] = fabs(values[i] - middle);
    }
    return 1.4826 * median(away_from, count);
}

// Rounding to steps alone spreads by a step over the square root of 12.
void lw_ear_know_rest(struct lw_ear *ear)
{
    double values[LW_EAR_RING];
    size_t count = ear->ringed < LW_EAR_RING ? ear->ringed : LW_EAR_RING;
    unwound(ear, values, count);
    ear->rest = median(values, count);
    ear->noise = fmax(robust_spread(values, count), ear->is.step / sqrt(12));
    ear->need = fmax(ear->is.need, fmax(noise_needs * ear->noise, steps_need * ear->is.step));
}

void lw_ear_add(struct lw_ear *ear, double value)
{
    ear->ring[ear->ringed++ % LW_EAR_RING] = value;
}

void lw_ear_follow(struct lw_ear *ear, double value)
{
    double values[LW_EAR_RING];
    if (fabs(ear->from_rest) > follows * ear->need) {
        return;
    }
    lw_ear_add(ear, value);
    size_t count = ear->ringed < LW_EAR_RING ? ear->ringed : LW_EAR_RING;
    unwound(ear, values, count);
    ear->rest = median(values, count);
}

void lw_ear_rest_here(struct lw_ear *ear)
{
    ear->learnt_rest += lw_ear_away(ear, ear->value); // a jump is no drift
    ear->ringed = 0;
    lw_ear_add(ear, ear->value);
    ear->rest = ear->value;
    ear->from_rest = 0;
}

double lw_ear_width(const struct lw_ear *ear)
{
    double values[LW_EAR_RING], low = INFINITY, high = -INFINITY;
    size_t count = ear->ringed < LW_EAR_RING ? ear->ringed : LW_EAR_RING;
    unwound(ear, values, count);
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    return high - low;
}

// How long the ear has been still, within the noise and a small share of what counts as moved.
double lw_ear_still_s(struct lw_ear *ear, double time_s)
{
    double room = fmax(0.05 * ear->need, 8 * ear->noise);
    ear->still_low = fmin(ear->still_low, ear->from_rest);
    ear->still_high = fmax(ear->still_high, ear->from_rest);
    if (ear->still_high - ear->still_low > room) {
        ear->still_low = ear->still_high = ear->from_rest;
        ear->still_since_s = time_s;
    }
    return time_s - ear->still_since_s;
}

void lw_ear_begin_still(struct lw_ear *ear, double time_s)
{
    ear->still_low = ear->still_high = ear->from_rest;
    ear->still_since_s = time_s;
}

static double mean_of(const double *values, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        sum += values[i];
    }
    return sum / (double)count;
}

static double spread_of(const double *values, size_t count)
{
    double mean = mean_of(values, count), squares = 0;
    for (size_t i = 0; i < count; i++) {
        squares += (values[i] - mean) * (values[i] - mean);
    }
    return count > 1 ? sqrt(squares / (double)(count - 1)) : 0;
}

// The drift seen since its rest was learnt goes on, for all we know, while the sensor is away.
static double drift_over(const struct lw_ear *ear, double time_s, double over_s)
{
    double known_s = time_s - ear->learnt_s;
    return known_s > 0 ? (ear->rest - ear->learnt_rest) / known_s * over_s : 0;
}

// The median of a few normal readings has 1.25 times the standard error of their mean. Noise is
// what these readings have, where that is more than what was learnt: a machine may shake.
void lw_ear_judge_off(const struct lw_ear *ear, double onset_s, double time_s,
                      struct lw_heard_move *move)
{
    double values[LW_EAR_RING];
    size_t before = ear->ringed < LW_EAR_RING ? ear->ringed : LW_EAR_RING,
           after = ear->settled_count;
    move->off = move->off_u = NAN;
    if (before < 3 || after < 3) {
        return;
    }
    unwound(ear, values, before);
    double drift = drift_over(ear, onset_s, time_s - onset_s);
    double shaken = fmax(robust_spread(values, before), spread_of(ear->settled, after));
    bool shakes = shaken > 3 * ear->noise; // in step with the asking, maybe: no mean of it helps
    double noise = fmax(ear->noise, shaken);
    move->off = mean_of(ear->settled, after) - drift;
    move->off_u = hypot(hypot(1.25 * noise / sqrt(shakes ? 1 : (double)before),
                              noise / sqrt(shakes ? 1 : (double)after)),
                        drift / 3);
}

// Where it has settled is its rest from now on; that is no drift.
void lw_ear_rest_settled(struct lw_ear *ear)
{
    double was = ear->rest, off = mean_of(ear->settled, ear->settled_count);
    ear->ringed = 0;
    for (size_t k = 0; k < ear->settled_count; k++) {
        lw_ear_add(ear, was + ear->settled[k]);
    }
    ear->rest = was + off;
    ear->learnt_rest += off;
    ear->from_rest -= off;
}

void lw_ear_settle(struct lw_ear *ear)
{
    if (ear->settled_count == LW_EAR_SETTLED) {
        memmove(ear->settled, ear->settled + 1, (LW_EAR_SETTLED - 1) * sizeof *ear->settled);
        ear->settled_count--;
    }
    ear->settled[ear->settled_count++] = ear->from_rest;
}

bool lw_ear_has_settled(const struct lw_ear *ear)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t k = 0; k < ear->settled_count; k++) {
        low = fmin(low, ear->settled[k]);
        high = fmax(high, ear->settled[k]);
    }
    return ear->settled_count == LW_EAR_SETTLED &&
           high - low <= fmax(8 * ear->noise, 3 * ear->is.step);
}
