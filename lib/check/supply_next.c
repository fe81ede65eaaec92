// SPDX-License-Identifier: GPL-3.0-or-later
//
// What to measure next where the readings do not decide: either a span is suspected and not proved,
// or a joint that would starve somebody would not be seen.
#include "check/supply_inside.h"

static double rail_drop_v(const struct lw_supply_result *result, size_t from, size_t to)
{
    const struct lw_supply_tap *taps = result->taps.items;
    double from_v = taps[from].volts + taps[from].zero_rise_v;
    double to_v = taps[to].volts + taps[to].zero_rise_v;
    return fabs(from_v - to_v);
}

static void set_next(struct lw_supply_result *result, size_t from, size_t to, double fault_v,
                     const char *why)
{
    result->next_from = (double)from + 1;
    result->next_to = (double)to + 1;
    result->next_plan_v = rail_drop_v(result, from, to);
    result->next_fault_v = result->next_plan_v + fault_v;
    result->next_why = lw_duplicate(why);
}

// Volts that the nodes from a tap on can lose before one of them is below its minimum.
static double spare_v(const struct lw_supply_result *result, size_t tap)
{
    const struct lw_supply_tap *taps = result->taps.items;
    double least_v = INFINITY;
    for (size_t i = tap; i < result->taps.count; i++) {
        double spare = taps[i].volts - taps[i].minimum_v;
        least_v = spare < least_v ? spare : least_v;
    }
    return least_v;
}

// A span in which a fault could starve a node and not be seen. Span index as its tap's.
static bool is_blind(const struct lw_supply_result *result, size_t tap, double *spare)
{
    const struct lw_supply_span *span =
        (const struct lw_supply_span *)result->spans.items + tap - 1;
    *spare = spare_v(result, tap);
    return span->amps > 0.01 && isfinite(*spare) && *spare > 0 &&
           span->smallest_visible_ohm * span->amps > *spare;
}

void lw_supply_next(struct lw_supply_result *result)
{
    const struct lw_supply_span *spans = result->spans.items;
    if (result->weak_span >= 2) {
        size_t first = (size_t)result->weak_span_low - 2, last = (size_t)result->weak_span_high - 1;
        double amps = spans[(size_t)result->weak_span - 2].amps;
        if (!result->weak_proved || last > first + 1) {
            set_next(result, first, last, result->weak_extra_ohm * amps, "suspect");
        }
        return;
    }
    size_t first = 0, last = 0;
    double least_v = INFINITY;
    for (size_t tap = 1; tap <= result->spans.count; tap++) {
        double spare = NAN;
        if (is_blind(result, tap, &spare)) {
            first = first == 0 ? tap : first;
            last = tap;
            least_v = fmin(least_v, spare);
        }
    }
    if (first > 0) {
        set_next(result, first - 1, last, least_v, "blind");
    }
}
