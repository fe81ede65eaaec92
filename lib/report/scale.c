// SPDX-License-Identifier: GPL-3.0-or-later
//
// Round numbers for axes. Steps of 1, 2, 5 are common practice: they are what a reader can halve in
// the head.
#include "report/scale.h"

#include <assert.h>

static double round_step(double span, size_t wanted)
{
    double raw = span / (double)wanted;
    double decade = pow(10, floor(log10(raw)));
    double share = raw / decade;
    return decade * (share <= 1.0000001 ? 1 : share <= 2.0000001 ? 2 : share <= 5.0000001 ? 5 : 10);
}

static int decimals_of(double step)
{
    int decimals = (int)ceil(-log10(step) - 1e-9);
    return decimals < 0 ? 0 : decimals > 12 ? 12 : decimals;
}

static void choose_linear(struct lw_scale *scale, bool exact, size_t wanted)
{
    double step = round_step(scale->high - scale->low, wanted);
    double first = exact ? ceil(scale->low / step - 1e-9) : floor(scale->low / step + 1e-9);
    double last = exact ? floor(scale->high / step + 1e-9) : ceil(scale->high / step - 1e-9);
    if (!exact) {
        scale->low = first * step;
        scale->high = last * step;
    }
    scale->step = step;
    for (double k = first; k <= last + 0.5 && scale->tick_count < LW_TICKS_MOST; k++) {
        scale->ticks[scale->tick_count++] = k * step;
    }
}

static void choose_logarithmic(struct lw_scale *scale, bool exact)
{
    double first = exact ? ceil(log10(scale->low) - 1e-9) : floor(log10(scale->low) + 1e-9);
    double last = exact ? floor(log10(scale->high) + 1e-9) : ceil(log10(scale->high) - 1e-9);
    if (!exact) {
        last = last <= first ? first + 1 : last;
        scale->low = pow(10, first);
        scale->high = pow(10, last);
    }
    double stride = ceil((last - first + 1) / 12);
    for (double k = first; k <= last + 0.5 && scale->tick_count < LW_TICKS_MOST; k += stride) {
        scale->ticks[scale->tick_count++] = pow(10, k);
    }
}

void lw_scale_choose(struct lw_scale *scale, double low, double high, bool logarithmic, bool exact,
                     size_t wanted)
{
    assert(isfinite(low) && isfinite(high) && low <= high && wanted > 0);
    assert(!logarithmic || low > 0);
    if (high - low <= 1e-12 * fmax(fabs(low), fabs(high))) {
        double half = low == 0 ? 1 : fabs(low) * 0.05;
        low = logarithmic ? low / 2 : low - half;
        high = logarithmic ? high * 2 : high + half;
    }
    *scale = (struct lw_scale){.low = low, .high = high, .logarithmic = logarithmic};
    if (logarithmic) {
        choose_logarithmic(scale, exact);
    } else {
        choose_linear(scale, exact, wanted);
    }
}

double lw_scale_mm(const struct lw_scale *scale, double value)
{
    double share = scale->logarithmic
                       ? log(fmax(value, scale->low) / scale->low) / log(scale->high / scale->low)
                       : (value - scale->low) / (scale->high - scale->low);
    share = fmin(1, fmax(0, share));
    return scale->from_mm + share * (scale->to_mm - scale->from_mm);
}

void lw_scale_tick_text(const struct lw_scale *scale, size_t tick, char text[LW_TICK_TEXT])
{
    double value = scale->ticks[tick];
    double most = fmax(fabs(scale->low), fabs(scale->high));
    if (scale->logarithmic) {
        snprintf(text, LW_TICK_TEXT, "%.6g", value);
    } else if (most >= 1e7 || decimals_of(scale->step) > 6) {
        int digits = (int)(floor(log10(most)) - floor(log10(scale->step))) + 1;
        snprintf(text, LW_TICK_TEXT, "%.*g", digits > 15 ? 15 : digits, value);
    } else {
        snprintf(text, LW_TICK_TEXT, "%.*f", decimals_of(scale->step), value == 0 ? 0.0 : value);
    }
}
