// SPDX-License-Identifier: GPL-3.0-or-later
//
// Levels that lie close together are hidden by the noise of single readings, but readings stay at a
// level: running medians, which keep edges, show levels half as far apart. The best split of sorted
// readings comes from their running sums. What tells two levels from one broad heap is the distance
// over the spread within: about 2.6 for normal noise split in halves, 3.5 for evenly spread
// readings, 4.1 for a sine.
#include "stats/jumps.h"

#include "stats/spread.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const double apart = 6;          // distance of the levels, in spreads within
static const double apart_smooth = 5;   // the same of running medians, where more is asked
static const double apart_raw = 2.8;    // the same of single readings, told apart by their medians
static const double apart_steps = 2.5;  // the same in steps of the reading
static const double least_share = 0.02; // of the readings at the rarer level
static const double least_stay = 3;     // readings at a time

enum { FEWEST = 20, FEWEST_RARER = 5, WIDEST = 9, ENOUGH = 20000 };

// Readings for each one that a median runs over: in fewer, slow noise looks like two levels.
enum { FOR_EACH = 30 };

static const int widths[] = {1, 5, WIDEST}; // of the running medians

static const struct lw_jumps no_jumps = {LW_JUMPS_NONE, NAN, 0, 0, NAN};

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

// Where to split values of a mean of about 0, so that the sums keep their digits; sorts them.
static double best_threshold(double *value, size_t n)
{
    qsort(value, n, sizeof *value, ascending);
    double all = 0, below = 0, largest_between = -1, threshold = value[0];
    for (size_t i = 0; i < n; i++) {
        all += value[i];
    }
    for (size_t i = 0; i + 1 < n; i++) {
        below += value[i];
        double low_n = (double)(i + 1), high_n = (double)(n - i - 1);
        double distance = (all - below) / high_n - below / low_n;
        double between = low_n * high_n / (double)n * distance * distance;
        if (value[i] < value[i + 1] && between > largest_between) {
            largest_between = between;
            threshold = (value[i] + value[i + 1]) / 2;
        }
    }
    return threshold;
}

// The split of all readings where that of some thousands of them, evenly taken, is best. Uses
// `scratch` of n.
static struct split best_split(const double *value, size_t n, double *scratch)
{
    size_t step = (n + ENOUGH - 1) / ENOUGH, some = 0, upper = 0;
    for (size_t i = 0; i < n; i += step) {
        scratch[some++] = value[i];
    }
    double threshold = best_threshold(scratch, some), low = 0, high = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        upper += value[i] > threshold;
        *(value[i] > threshold ? &high : &low) += value[i];
        square += value[i] * value[i];
    }
    if (upper == 0 || upper == n) {
        return (struct split){.threshold = threshold, .within = INFINITY};
    }
    double low_n = (double)(n - upper), high_n = (double)upper;
    double within = square - low * low / low_n - high * high / high_n;
    return (struct split){threshold, high / high_n - low / low_n,
                          sqrt(fmax(0, within) / (double)(n - 2)), upper};
}

static bool is_apart(const struct split *split, size_t n, double least, double resolution)
{
    size_t rarer = split->upper < n - split->upper ? split->upper : n - split->upper;
    if (rarer < FEWEST_RARER || (double)rarer < least_share * (double)n) {
        return false;
    }
    if (resolution > 0) {
        return split->distance > least * split->within &&
               split->distance > apart_steps * resolution;
    }
    return split->distance > least * split->within;
}

// Counts changes of side and the stays at the rarer one.
static void follow(const double *time_s, const double *value, size_t n, const struct split *split,
                   struct lw_jumps *jumps)
{
    bool rarer_is_upper = 2 * split->upper < n;
    size_t stays = 0, rarer = 0, switches = 0;
    bool before = false;
    for (size_t i = 0; i < n; i++) {
        // What is not clearly on the other side stays where it was.
        double over = value[i] - split->threshold;
        bool clear = i == 0 || fabs(over) > split->distance / 6;
        bool here = clear ? (over > 0) == rarer_is_upper : before;
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

// Few values are sorted fastest by insertion.
static double middle_of(const double *value, size_t width)
{
    double window[WIDEST];
    for (size_t i = 0; i < width; i++) {
        size_t at = i;
        for (; at > 0 && window[at - 1] > value[i]; at--) {
            window[at] = window[at - 1];
        }
        window[at] = value[i];
    }
    return window[width / 2];
}

// The median of `width` neighbours about each, at the ends of the first or last so many.
static void run_median(const double *value, size_t n, size_t width, double *median)
{
    for (size_t i = 0; i < n; i++) {
        size_t first = i < width / 2 ? 0 : i - width / 2;
        first = first + width > n ? n - width : first;
        median[i] = middle_of(value + first, width);
    }
}

// Readings on their way between the levels, in the middle third: a sine has a fifth of them there,
// one that drifts to and fro more; jumps leave a few each, and noise a few.
static bool is_abrupt(const double *value, size_t n, const struct split *split, size_t switches)
{
    size_t between = 0;
    for (size_t i = 0; i < n; i++) {
        between += fabs(value[i] - split->threshold) < split->distance / 6;
    }
    return (double)between <= 2 * (double)switches + 0.03 * (double)n;
}

// The readings themselves, told apart by the side of their running median: levels are so far apart
// in spreads within. Readings of a fast tone lie at its two ends, and so do their medians, but not
// the readings of one side.
static bool stay_apart(const double *value, const double *smooth, size_t n,
                       const struct split *split)
{
    double sum[2] = {0}, squares = 0, count[2] = {0};
    for (size_t i = 0; i < n; i++) {
        bool upper = smooth[i] > split->threshold;
        count[upper]++;
        sum[upper] += value[i];
        squares += value[i] * value[i];
    }
    double low = sum[0] / count[0], high = sum[1] / count[1];
    double within = squares - count[0] * low * low - count[1] * high * high;
    return high - low > apart_raw * sqrt(fmax(0, within) / (double)(n - 2));
}

// Looks for levels in readings about 0, in `value`; uses `scratch` of 2 n. False when there is no
// use in looking further.
static bool look(const double *time_s, const double *value, size_t n, double resolution,
                 double *scratch, struct lw_jumps *jumps)
{
    double *smooth = scratch + n;
    for (size_t i = 0; i < sizeof widths / sizeof *widths && jumps->kind == LW_JUMPS_NONE; i++) {
        if (widths[i] > 1 && n < FOR_EACH * (size_t)widths[i]) {
            return true;
        }
        run_median(value, n, (size_t)widths[i], smooth);
        struct split split = best_split(smooth, n, scratch);
        if (widths[i] == 1 && may_be_steps(&split, resolution)) {
            return false;
        }
        if (is_apart(&split, n, widths[i] > 1 ? apart_smooth : apart, resolution)) {
            follow(time_s, smooth, n, &split, jumps);
        }
        if (widths[i] > 1 && !(is_abrupt(smooth, n, &split, jumps->switches) &&
                               stay_apart(value, smooth, n, &split))) {
            *jumps = no_jumps;
        }
    }
    return jumps->kind == LW_JUMPS_NONE;
}

enum lw_status lw_jumps_find(const double *time_s, const double *value, size_t n, double resolution,
                             struct lw_jumps *jumps, struct lw_error *error)
{
    *jumps = no_jumps;
    if (n < FEWEST) {
        return lw_fail(error, LW_USAGE, "%zu readings are too few to see jumps", n);
    }
    double *centred = malloc(3 * n * sizeof *centred);
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
