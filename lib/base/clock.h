// SPDX-License-Identifier: GPL-3.0-or-later
//
// Time, from one place. A line has a clock (the system's, or the virtual wire's), a check that
// needs no line has one too, and nothing in the library asks the operating system for the time in
// any other way. So a whole visit runs in a test in milliseconds with dates of its own.
#ifndef LW_BASE_CLOCK_H
#define LW_BASE_CLOCK_H

#include <stddef.h>
#include <stdint.h>

struct lw_clock;

struct lw_clock_ops {
    int64_t (*now_ns)(const struct lw_clock *clock);
};

// now_ns is monotonic with an arbitrary zero; utc_zero_ns is the UTC time (ns since
// 1970-01-01T00:00:00Z) at that zero, so that UTC of an instant t is utc_zero_ns + t.
struct lw_clock {
    const struct lw_clock_ops *ops;
    int64_t utc_zero_ns;
    int64_t fixed_ns; // the present of a virtual or fixed clock; its owner moves it
};

// Monotonic system clock, joined to UTC once, at this call.
void lw_clock_system(struct lw_clock *clock);

// A clock that stands at now_ns = 0 until its owner changes fixed_ns; UTC at 0 is start_utc_ns.
void lw_clock_virtual(struct lw_clock *clock, int64_t start_utc_ns);

int64_t lw_clock_now_ns(const struct lw_clock *clock);
int64_t lw_clock_utc_ns(const struct lw_clock *clock, int64_t at_ns);

enum { LW_TIME_TEXT = 40 };

// RFC 3339 in UTC with `decimals` (0, 3, 6 or 9) digits of a second: "2026-11-25T08:31:02.118Z".
// Truncates.
void lw_time_format(int64_t utc_ns, int decimals, char text[LW_TIME_TEXT]);

// Reads RFC 3339 with "Z" or a numeric offset, or a bare date ("2026-11-02", midnight UTC). Returns
// 0, or -1 when it is none; leap seconds are refused.
int lw_time_parse(const char *text, int64_t *utc_ns);

// Days since 1970-01-01 (civil, proleptic Gregorian) of a UTC time.
int64_t lw_time_days(int64_t utc_ns);

#endif
