// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a supply still gives in a warm cabinet: the maker's curve of rated current against the air
// at the supply (common practice: cabinet air, not room air).
#ifndef LW_POWER_DERATING_H
#define LW_POWER_DERATING_H

#include "base/error.h"

#include <stddef.h>

// One point of the curve: the fraction of limit_a, 0..1, at an air temperature in degrees Celsius.
struct lw_derating_point {
    double air_c, fraction;
};

// Refuses (LW_BAD_FILE) points that are not in rising order of temperature, are no finite numbers
// or lie outside 0..1. An empty curve is fine.
enum lw_status lw_derating_check(const struct lw_derating_point *points, size_t count,
                                 struct lw_error *error);

// The fraction at `air_c`: straight lines between the points, the end values beyond the ends, 1
// without points. The curve must be one that lw_derating_check() takes.
double lw_derating_fraction(const struct lw_derating_point *points, size_t count, double air_c);

#endif
