// SPDX-License-Identifier: GPL-3.0-or-later
//
// Numbers as people type them and as files keep them. The parsers are strict: "", " 5", "+5", "5x",
// "0x10", "nan" and what does not fit are refused, so that a slip of the finger is never a setting.
#ifndef LW_BASE_NUMBER_H
#define LW_BASE_NUMBER_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// Whole decimal number in low..high (inclusive). A leading '-' is allowed when low is below 0;
// leading zeros are not.
enum lw_status lw_number_integer(const char *text, int64_t low, int64_t high, int64_t *value,
                                 struct lw_error *error);

// Decimal fraction with an optional exponent, finite, low..high inclusive; "." is the decimal mark
// in every locale. With `comma` a single decimal comma is taken too (typed values).
enum lw_status lw_number_real(const char *text, double low, double high, bool comma, double *value,
                              struct lw_error *error);

// "1.5s", "200ms", "2min", "1h"; a bare number means seconds. Result in seconds, low_s..high_s
// inclusive.
enum lw_status lw_number_duration(const char *text, double low_s, double high_s, double *seconds,
                                  struct lw_error *error);

// "200MB", "64kB", "1GB", "512B"; a bare number means bytes; a kB is 1000 bytes. low..high
// inclusive.
enum lw_status lw_number_size(const char *text, double low, double high, double *bytes,
                              struct lw_error *error);

enum { LW_NUMBER_TEXT = 32, LW_NUMBER_LONGEST = 60 };

// Length of the decimal number as RFC 8259 section 6 writes it ("-0.5e3"; no "01", "1.", ".5",
// "+1") at the start of `text`, whatever follows it; 0 when there is none.
size_t lw_number_span(const char *text, size_t count);

// The double nearest to such a number of exactly `count` characters. Infinite when it overflows,
// NAN when it is longer than LW_NUMBER_LONGEST.
double lw_number_value(const char *text, size_t count);

// The shortest of %.15g, %.16g, %.17g that reads back to the same double. `value` must be finite.
void lw_number_exact(double value, char text[LW_NUMBER_TEXT]);

// For people: `value` rounded so that the standard uncertainty-like `resolution` shows two digits;
// resolution <= 0 or NAN gives three significant digits; NAN gives "-".
void lw_number_for_people(double value, double resolution, char text[LW_NUMBER_TEXT]);

#endif
