// SPDX-License-Identifier: GPL-3.0-or-later
//
// A derating curve, clamped at its ends: extrapolating one invents a rating the maker never gave.
#include "power/derating.h"

enum lw_status lw_derating_check(const struct lw_derating_point *points, size_t count,
                                 struct lw_error *error)
{
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(points[i].air_c) || !(points[i].fraction >= 0.0) ||
            !(points[i].fraction <= 1.0)) {
            return lw_fail(error, LW_BAD_FILE, "derating point %zu: fraction must be 0 to 1",
                           i + 1);
        }
        if (i > 0 && !(points[i].air_c > points[i - 1].air_c)) {
            return lw_fail(error, LW_BAD_FILE, "derating point %zu: temperatures must rise", i + 1);
        }
    }
    return LW_OK;
}

double lw_derating_fraction(const struct lw_derating_point *points, size_t count, double air_c)
{
    if (count == 0) {
        return 1.0;
    }
    if (air_c <= points[0].air_c) {
        return points[0].fraction;
    }
    for (size_t i = 1; i < count; i++) {
        if (air_c <= points[i].air_c) {
            double share = (air_c - points[i - 1].air_c) / (points[i].air_c - points[i - 1].air_c);
            return points[i - 1].fraction + share * (points[i].fraction - points[i - 1].fraction);
        }
    }
    return points[count - 1].fraction;
}
