// SPDX-License-Identifier: GPL-3.0-or-later
//
// The units in which captures count time (draft-ietf-opsawg-pcapng, 4.2, if_tsresol and
// if_tsoffset). Only lib/capture includes this.
#ifndef LW_CAPTURE_TIME_UNIT_H
#define LW_CAPTURE_TIME_UNIT_H

#include <stdbool.h>
#include <stdint.h>

struct lw_time_unit {
    bool binary;         // a unit is 2^-exponent s, else 10^-exponent s
    unsigned exponent;   // 0..63, 0..19
    int64_t offset_s;    // added to every time
    uint64_t per_second; // units; set by lw_time_unit_set()
};

// From the byte that if_tsresol holds: the top bit chooses powers of two. Leaves the offset alone.
// False for exponents that no 64-bit count can use.
bool lw_time_unit_set(struct lw_time_unit *unit, uint8_t resolution);

// Nanoseconds since 1970, truncated; false when the time is before 1970 or beyond what 63 bits hold
// (the year 2262).
bool lw_time_unit_ns(const struct lw_time_unit *unit, uint64_t count, int64_t *utc_ns);

#endif
