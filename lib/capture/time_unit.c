// SPDX-License-Identifier: GPL-3.0-or-later
//
// Turns a capture's counts into nanoseconds, in whole numbers, since a double would lose them.
#include "capture/time_unit.h"

static const uint64_t SECOND_NS = 1000000000;

static uint64_t power_of_ten(unsigned exponent)
{
    uint64_t power = 1;
    while (exponent-- > 0) {
        power *= 10;
    }
    return power;
}

bool lw_time_unit_set(struct lw_time_unit *unit, uint8_t resolution)
{
    unit->binary = resolution & 0x80;
    unit->exponent = resolution & 0x7f;
    if (unit->exponent > (unit->binary ? 63 : 19)) {
        return false;
    }
    unit->per_second = unit->binary ? UINT64_C(1) << unit->exponent : power_of_ten(unit->exponent);
    return true;
}

// A part of a second in 2^-exponent s; low bits that a nanosecond does not see are dropped first.
static uint64_t binary_fraction_ns(uint64_t part, unsigned exponent)
{
    unsigned drop = exponent > 32 ? exponent - 32 : 0;
    return ((part >> drop) * SECOND_NS) >> (exponent - drop);
}

static uint64_t decimal_fraction_ns(uint64_t part, unsigned exponent)
{
    return exponent <= 9 ? part * power_of_ten(9 - exponent) : part / power_of_ten(exponent - 9);
}

bool lw_time_unit_ns(const struct lw_time_unit *unit, uint64_t count, int64_t *utc_ns)
{
    uint64_t seconds = count / unit->per_second, part = count % unit->per_second;
    uint64_t part_ns = unit->binary ? binary_fraction_ns(part, unit->exponent)
                                    : decimal_fraction_ns(part, unit->exponent);
    const int64_t most_s = INT64_MAX / (int64_t)SECOND_NS - 1;
    if (unit->offset_s > most_s || unit->offset_s < -most_s || seconds > 2 * (uint64_t)most_s) {
        return false;
    }
    int64_t whole_s = (int64_t)seconds + unit->offset_s;
    if (whole_s < 0 || whole_s > most_s) {
        return false;
    }
    *utc_ns = whole_s * (int64_t)SECOND_NS + (int64_t)part_ns;
    return true;
}
