// SPDX-License-Identifier: GPL-3.0-or-later
//
// Update intervals. A change seen between two polls says that an update lies between them; an
// interval fits when its ticks, from some start, hit every such gap.
#include "check/noise_update.h"

#include <math.h>
#include <stdbool.h>

enum { FEWEST_CHANGES = 6, STARTS = 64 };

static const double chance = 0.01;
static const double finer = 1.02; // ratio of neighbouring intervals tried
static const double turn = 65536;

struct gap {
    double from_s, to_s;
};

static bool ticks_hit(const struct gap *gaps, size_t count, double interval_s, double start_s)
{
    for (size_t i = 0; i < count; i++) {
        double before = floor((gaps[i].from_s - start_s) / interval_s);
        if (start_s + (before + 1) * interval_s > gaps[i].to_s) {
            return false;
        }
    }
    return true;
}

// Some start inside the first gap, the later the likelier to be tried: all are.
static bool fits(const struct gap *gaps, size_t count, double interval_s)
{
    for (int i = 1; i <= STARTS; i++) {
        double start_s = gaps[0].from_s + (gaps[0].to_s - gaps[0].from_s) * i / STARTS;
        if (ticks_hit(gaps, count, interval_s, start_s)) {
            return true;
        }
    }
    return false;
}

// The expected number of intervals that fit gaps which mean nothing: each further gap is hit with
// the probability of its share of the interval, and about as many intervals and starts can be told
// apart as ticks pass from the first gap to the last, and as gaps fit into one.
static double fits_by_chance(const struct gap *gaps, size_t count, double interval_s)
{
    double product = 1, narrowest_s = INFINITY;
    for (size_t i = 0; i < count; i++) {
        double wide_s = gaps[i].to_s - gaps[i].from_s;
        product *= i > 0 ? fmin(1, wide_s / interval_s) : 1;
        narrowest_s = fmin(narrowest_s, wide_s);
    }
    double ticks = (gaps[count - 1].to_s - gaps[0].from_s) / interval_s;
    return product * ticks * (1 + interval_s / narrowest_s);
}

// The middle of the intervals that fit from this one down.
static double middle(const struct gap *gaps, size_t count, double longest_s)
{
    double shortest_s = longest_s;
    while (fits(gaps, count, shortest_s / 1.001)) {
        shortest_s /= 1.001;
    }
    return sqrt(longest_s * shortest_s);
}

double lw_update_from_burst(const double *time_s, const double *value, size_t n)
{
    enum { MOST_GAPS = 256 };
    struct gap gaps[MOST_GAPS];
    size_t count = 0;
    double widest_s = 0;
    for (size_t i = 1; i < n && count < MOST_GAPS; i++) {
        if (value[i] != value[i - 1]) {
            gaps[count++] = (struct gap){time_s[i - 1], time_s[i]};
            widest_s = fmax(widest_s, time_s[i] - time_s[i - 1]);
        }
    }
    if (count < FEWEST_CHANGES || !(widest_s > 0)) {
        return NAN;
    }
    double longest_s = (gaps[count - 1].to_s - gaps[0].from_s) / (FEWEST_CHANGES - 1);
    for (double try_s = longest_s; try_s > widest_s; try_s /= finer) {
        if (fits(gaps, count, try_s)) {
            bool real = fits_by_chance(gaps, count, try_s) < chance;
            return real ? middle(gaps, count, try_s) : (double)NAN;
        }
    }
    return NAN;
}

double lw_update_from_counter(const double time_s[3], const double count[3])
{
    double first = fmod(count[1] - count[0] + turn, turn);
    double rate = first / (time_s[1] - time_s[0]);
    double last = fmod(count[2] - count[1] + turn, turn);
    double expected = rate * (time_s[2] - time_s[1]);
    double turns = fmax(0, nearbyint((expected - last) / turn));
    double all = first + last + turns * turn;
    double interval_s = (time_s[2] - time_s[0]) / all;
    return all > 0 && isfinite(interval_s) && interval_s > 0 ? interval_s : (double)NAN;
}
