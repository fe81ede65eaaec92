// SPDX-License-Identifier: GPL-3.0-or-later
//
// Strict parsing and exact printing. The C library reads and prints the decimal mark of the
// locale; here it is put in and taken out again around those calls, so that a locale set by
// somebody else never changes a file.
#include "base/number.h"

#include "base/text.h"

#include <assert.h>
#include <float.h>
#include <locale.h>

enum { SHOWN = 64 };

static size_t span_digits(const char *text, size_t at, size_t count)
{
    while (at < count && text[at] >= '0' && text[at] <= '9') {
        at++;
    }
    return at;
}

size_t lw_number_span(const char *text, size_t count)
{
    size_t at = count > 0 && text[0] == '-' ? 1 : 0;
    size_t whole = span_digits(text, at, count);
    if (whole == at || (text[at] == '0' && whole > at + 1)) {
        return 0;
    }
    at = whole;
    if (at < count && text[at] == '.') {
        size_t end = span_digits(text, at + 1, count);
        if (end == at + 1) {
            return 0;
        }
        at = end;
    }
    if (at < count && (text[at] == 'e' || text[at] == 'E')) {
        size_t sign = at + 1 < count && (text[at + 1] == '+' || text[at + 1] == '-') ? 1 : 0;
        size_t end = span_digits(text, at + 1 + sign, count);
        if (end == at + 1 + sign) {
            return 0;
        }
        at = end;
    }
    return at;
}

double lw_number_value(const char *text, size_t count)
{
    char local[LW_NUMBER_LONGEST + 16];
    if (count > LW_NUMBER_LONGEST) {
        return NAN;
    }
    const char *mark = memchr(text, '.', count);
    size_t whole = mark == NULL ? count : (size_t)(mark - text);
    lw_print(local, sizeof local, "%.*s%s%.*s", (int)whole, text,
             mark == NULL ? "" : localeconv()->decimal_point,
             mark == NULL ? 0 : (int)(count - whole - 1), mark == NULL ? "" : mark + 1);
    return strtod(local, NULL);
}

// What the user typed, fit for a message.
static const char *shown(char to[SHOWN], const char *text)
{
    lw_text_clean(to, SHOWN, text, strlen(text));
    return to;
}

// Digits only, with an optional '-'; INT64_MIN is out of reach, which no caller asks for.
static bool parse_integer(const char *text, int64_t *value)
{
    bool negative = text[0] == '-';
    const char *digits = text + negative;
    size_t length = strlen(digits);
    if (length == 0 || span_digits(digits, 0, length) != length ||
        (digits[0] == '0' && length > 1)) {
        return false;
    }
    int64_t sum = 0;
    for (size_t i = 0; i < length; i++) {
        int digit = digits[i] - '0';
        if (sum > (INT64_MAX - digit) / 10) {
            sum = INT64_MAX;
            break;
        }
        sum = sum * 10 + digit;
    }
    *value = negative ? -sum : sum;
    return true;
}

enum lw_status lw_number_integer(const char *text, int64_t low, int64_t high, int64_t *value,
                                 struct lw_error *error)
{
    char safe[SHOWN];
    int64_t parsed;
    if ((text[0] == '-' && low >= 0) || !parse_integer(text, &parsed)) {
        return lw_fail(error, LW_USAGE, "'%s' is no whole number", shown(safe, text));
    }
    if (parsed < low || parsed > high) {
        return lw_fail(error, LW_USAGE, "'%s' is out of range: %lld to %lld", shown(safe, text),
                       (long long)low, (long long)high);
    }
    *value = parsed;
    return LW_OK;
}

static enum lw_status out_of_range(const char *text, double low, double high, const char *unit,
                                   struct lw_error *error)
{
    char safe[SHOWN];
    if (high == INFINITY || high == DBL_MAX) {
        return lw_fail(error, LW_USAGE, "'%s' is out of range: at least %g%s", shown(safe, text),
                       low, unit);
    }
    if (low == -INFINITY || low == -DBL_MAX) {
        return lw_fail(error, LW_USAGE, "'%s' is out of range: at most %g%s", shown(safe, text),
                       high, unit);
    }
    return lw_fail(error, LW_USAGE, "'%s' is out of range: %g to %g%s", shown(safe, text), low,
                   high, unit);
}

enum lw_status lw_number_real(const char *text, double low, double high, bool comma, double *value,
                              struct lw_error *error)
{
    char typed[LW_NUMBER_LONGEST + 1];
    char safe[SHOWN];
    bool whole = lw_copy(typed, sizeof typed, text);
    char *mark = comma ? strchr(typed, ',') : NULL;
    if (mark != NULL) {
        *mark = strchr(typed, '.') == NULL ? '.' : ',';
    }
    size_t length = strlen(typed);
    if (!whole || length == 0 || lw_number_span(typed, length) != length) {
        return lw_fail(error, LW_USAGE, "'%s' is no number", shown(safe, text));
    }
    double parsed = lw_number_value(typed, length);
    if (isinf(parsed)) {
        return lw_fail(error, LW_USAGE, "'%s' is too large a number", shown(safe, text));
    }
    if (parsed < low || parsed > high) {
        return out_of_range(text, low, high, "", error);
    }
    *value = parsed;
    return LW_OK;
}

static bool duration_unit(const char *name, double *over, double *under)
{
    static const struct {
        const char *name;
        double over, under;
    } units[] = {{"", 1, 1}, {"s", 1, 1}, {"ms", 1, 1000}, {"min", 60, 1}, {"h", 3600, 1}};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(units[i].name, name) == 0) {
            *over = units[i].over;
            *under = units[i].under;
            return true;
        }
    }
    return false;
}

enum lw_status lw_number_duration(const char *text, double low_s, double high_s, double *seconds,
                                  struct lw_error *error)
{
    char safe[SHOWN];
    double over = 0, under = 1;
    size_t span = lw_number_span(text, strlen(text));
    if (span == 0 || span > LW_NUMBER_LONGEST || !duration_unit(text + span, &over, &under)) {
        return lw_fail(error, LW_USAGE, "'%s' is no duration: write it as 1.5s, 200ms, 2min or 1h",
                       shown(safe, text));
    }
    double parsed = lw_number_value(text, span) * over / under;
    if (!(parsed >= low_s && parsed <= high_s) || isinf(parsed)) {
        return out_of_range(text, low_s, high_s, " s", error);
    }
    *seconds = parsed;
    return LW_OK;
}

static double size_unit(const char *unit)
{
    static const struct {
        const char *word;
        double bytes;
    } units[] = {{"", 1}, {"B", 1}, {"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}};
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        if (strcmp(unit, units[i].word) == 0) {
            return units[i].bytes;
        }
    }
    return 0;
}

enum lw_status lw_number_size(const char *text, double low, double high, double *bytes,
                              struct lw_error *error)
{
    char safe[SHOWN];
    size_t span = lw_number_span(text, strlen(text));
    double unit = span > 0 && span <= LW_NUMBER_LONGEST ? size_unit(text + span) : 0;
    if (unit == 0) {
        return lw_fail(error, LW_USAGE, "'%s' is no size: write it as 200MB, 64kB or 1GB",
                       shown(safe, text));
    }
    double parsed = lw_number_value(text, span) * unit;
    if (!(parsed >= low && parsed <= high) || isinf(parsed)) {
        return out_of_range(text, low, high, " bytes", error);
    }
    *bytes = parsed;
    return LW_OK;
}

// The locale's decimal mark, which may be several bytes, becomes ".".
static void make_point(char *text)
{
    const char *local = localeconv()->decimal_point;
    size_t length = strlen(local);
    char *mark = strcmp(local, ".") == 0 || length == 0 ? NULL : strstr(text, local);
    if (mark != NULL) {
        *mark = '.';
        memmove(mark + 1, mark + length, strlen(mark + length) + 1);
    }
}

void lw_number_exact(double value, char text[LW_NUMBER_TEXT])
{
    assert(isfinite(value));
    for (int digits = 15; digits <= 17; digits++) {
        lw_print(text, LW_NUMBER_TEXT, "%.*g", digits, value);
        make_point(text);
        if (lw_number_value(text, strlen(text)) == value) {
            return;
        }
    }
}

// Power of ten of the first digit after rounding to `digits` significant ones, so that 0.0996
// counts as 0.10.
static int decade(double value, int digits)
{
    char text[LW_NUMBER_TEXT];
    lw_print(text, sizeof text, "%.*e", digits - 1, value);
    return (int)strtol(strchr(text, 'e') + 1, NULL, 10);
}

static double rounded_to(double value, int zeros)
{
    double step = pow(10, zeros);
    return round(value / step) * step;
}

void lw_number_for_people(double value, double resolution, char text[LW_NUMBER_TEXT])
{
    if (!isfinite(value)) {
        lw_copy(text, LW_NUMBER_TEXT, isnan(value) ? "-" : value > 0 ? "inf" : "-inf");
        return;
    }
    bool resolved = resolution > 0 && isfinite(resolution);
    int decimals = resolved ? 1 - decade(resolution, 2) : value == 0 ? 0 : 2 - decade(value, 3);
    if (decimals > 15 || fabs(value) >= 1e14) {
        lw_print(text, LW_NUMBER_TEXT, "%.2e", value);
    } else if (decimals < 0) {
        lw_print(text, LW_NUMBER_TEXT, "%.0f", rounded_to(value, -decimals));
    } else {
        lw_print(text, LW_NUMBER_TEXT, "%.*f", decimals, value);
    }
    make_point(text);
    if (text[0] == '-' && strspn(text + 1, "0.") == strlen(text + 1)) {
        memmove(text, text + 1, strlen(text));
    }
}
