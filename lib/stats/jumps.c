// SPDX-License-Identifier: GPL-3.0-or-later
//
// The best split of sorted readings comes from their running sums. What tells two levels from one
// broad heap is the distance over the spread within: about 2.6 for normal noise split in
// halves, 3.5 for evenly spread readings, 4.1 for a sine.
#include "stats/jumps.h"

#include "stats/spread.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const double apart = 6;          // distance of the levels, in spreads within
static const double apart_steps = 2.5;  // the same in steps of the reading
static const double least_share = 0.02; // of the readings at the rarer level
static const double least_stay = 3;     // readings at a time

enum { FEWEST = 20, FEWEST_RARER = 5 };

// A split of readings at a threshold.
struct split {
    double threshold, distance, within;
    size_t upper; // how many above
};

static int ascending(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

// Sorts `value`, which has a mean of about 0 so that the sums keep their digits.
static struct split best_split(double *value, size_t n)
{
    qsort(value, n, sizeof *value, ascending);
    double all = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        all += value[i];
        square += value[i] * value[i];
    }
    struct split best = {.distance = 0, .within = INFINITY};
    double below = 0, largest_between = -1;
    for (size_t i = 0; i + 1 < n; i++) {
        below += value[i];
        double low_n = (double)(i + 1), high_n = (double)(n - i - 1);
        double distance = (all - below) / high_n - below / low_n;
        double between = low_n * high_n / (double)n * distance * distance;
        if (value[i] < value[i + 1] && between > largest_between) {
            largest_between = between;
            double total = square - all * all / (double)n;
            best = (struct split){(value[i] + value[i + 1]) / 2, distance,
                                  sqrt(fmax(0, total - between) / (double)(n - 2)), n - i - 1};
        }
    }
    return best;
}

static bool is_apart(const struct split *split, size_t n, double resolution)
{
    size_t rarer = split->upper < n - split->upper ? split->upper : n - split->upper;
    if (rarer < FEWEST_RARER || (double)rarer < least_share * (double)n) {
        return false;
    }
    if (resolution > 0) {
        return split->distance > apart * split->within &&
               split->distance > apart_steps * resolution;
    }
    return split->distance > apart * split->within;
}

// Counts changes of side and the stays at the rarer one.
static void follow(const double *time_s, const double *value, size_t n, const struct split *split,
                   struct lw_jumps *jumps)
{
    bool rarer_is_upper = 2 * split->upper < n;
    size_t stays = 0, rarer = 0, switches = 0;
    bool before = false;
    for (size_t i = 0; i < n; i++) {
        bool upper = value[i] > split->threshold;
        bool here = upper == rarer_is_upper;
        switches += i > 0 && here != before;
        stays += here && (i == 0 || !before);
        rarer += here;
        before = here;
    }
    double stay = (double)rarer / (double)stays;
    if (stay < least_stay) {
        return;
    }
    jumps->kind = switches > 1 ? LW_JUMPS_TELEGRAPH : LW_JUMP_ONCE;
    jumps->step = split->distance;
    jumps->switches = switches;
    jumps->share_rarer = (double)rarer / (double)n;
    jumps->dwell_s = stay * (time_s[n - 1] - time_s[0]) / (double)(n - 1);
}

// Two readings that alternate without noise of their own may be neighbouring steps of the sensor.
static bool may_be_steps(const struct split *split, double resolution)
{
    return !(resolution > 0) && split->within <= 1e-9 * split->distance;
}

// Looks for levels in readings about 0, in `value`; uses `scratch` of n. False when there is no use
// in looking further.
static bool look(const double *time_s, const double *value, size_t n, double resolution,
                 double *scratch, struct lw_jumps *jumps)
{
    memcpy(scratch, value, n * sizeof *scratch);
    struct split split = best_split(scratch, n);
    if (may_be_steps(&split, resolution)) {
        return false;
    }
    if (is_apart(&split, n, resolution)) {
        follow(time_s, value, n, &split, jumps);
    }
    return jumps->kind == LW_JUMPS_NONE;
}

enum lw_status lw_jumps_find(const double *time_s, const double *value, size_t n, double resolution,
                             struct lw_jumps *jumps, struct lw_error *error)
{
    *jumps = (struct lw_jumps){LW_JUMPS_NONE, NAN, 0, 0, NAN};
    if (n < FEWEST) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to see jumps", n);
    }
    double *centred = malloc(2 * n * sizeof *centred);
    if (!centred) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    double mean = lw_moments(value, n).mean;
    for (size_t i = 0; i < n; i++) {
        centred[i] = value[i] - mean;
    }
    if (look(time_s, centred, n, resolution, centred + n, jumps)) {
        lw_line_residuals(time_s, value, n, centred);
        look(time_s, centred, n, resolution, centred + n, jumps);
    }
    free(centred);
    return LW_OK;
}
