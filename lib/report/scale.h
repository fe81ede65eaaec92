// SPDX-License-Identifier: GPL-3.0-or-later
//
// Axis ranges and ticks at round numbers. Private to this room.
#ifndef LW_REPORT_SCALE_H
#define LW_REPORT_SCALE_H

#include <stdbool.h>
#include <stddef.h>

enum { LW_TICKS_MOST = 24, LW_TICK_TEXT = 24 };

struct lw_scale {
    double low, high; // value, low < high; both above 0 when logarithmic
    bool logarithmic;
    double from_mm, to_mm; // where low and high stand
    double ticks[LW_TICKS_MOST];
    size_t tick_count;
    double step; // between ticks; 0 when logarithmic
};

// Takes a range of data and widens it to round ends with about `wanted` ticks (1, 2 or 5 times a
// power of ten apart; decades when logarithmic). low == high is widened first. With `exact` the
// ends stay and ticks stand within.
void lw_scale_choose(struct lw_scale *scale, double low, double high, bool logarithmic, bool exact,
                     size_t wanted);
// Where a value stands, mm; outside values at the nearer end.
double lw_scale_mm(const struct lw_scale *scale, double value);
void lw_scale_tick_text(const struct lw_scale *scale, size_t tick, char text[LW_TICK_TEXT]);

#endif
