// SPDX-License-Identifier: GPL-3.0-or-later
//
// Virtual clocks and RFC 3339. Dates are reckoned here with Howard Hinnant's "days from civil"
// method (public description: "chrono-Compatible Low-Level Date Algorithms"), because the C
// library's functions depend on the time zone or on hidden state.
#include "base/clock.h"

#include "base/text.h"

#include <assert.h>
#include <stdbool.h>

enum { DAY_S = 86400 };
static const int64_t second_ns = 1000000000;

static int64_t fixed_now_ns(const struct lw_clock *clock)
{
    return clock->fixed_ns;
}

void lw_clock_virtual(struct lw_clock *clock, int64_t start_utc_ns)
{
    static const struct lw_clock_ops ops = {.now_ns = fixed_now_ns};
    *clock = (struct lw_clock){.ops = &ops, .utc_zero_ns = start_utc_ns};
}

int64_t lw_clock_now_ns(const struct lw_clock *clock)
{
    return clock->ops->now_ns(clock);
}

int64_t lw_clock_utc_ns(const struct lw_clock *clock, int64_t at_ns)
{
    return clock->utc_zero_ns + at_ns;
}

static int64_t floor_divide(int64_t value, int64_t by)
{
    return value / by - (value % by < 0);
}

// What floor_divide() leaves, 0..by-1.
static int64_t floor_rest(int64_t value, int64_t by)
{
    int64_t rest = value % by;
    return rest < 0 ? rest + by : rest;
}

struct date {
    int64_t year;
    int month, day;
};

// The year counts from March here, so that the leap day is the last one of its year.
static int64_t days_from_date(struct date date)
{
    int64_t year = date.year - (date.month <= 2);
    int64_t era = floor_divide(year, 400);
    int64_t year_of_era = year - era * 400;
    int64_t month_from_march = (date.month + 9) % 12;
    int64_t day_of_year = (153 * month_from_march + 2) / 5 + date.day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + day_of_era - 719468;
}

static struct date date_from_days(int64_t days)
{
    days += 719468;
    int64_t era = floor_divide(days, 146097);
    int64_t day_of_era = days - era * 146097;
    int64_t year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t month_from_march = (5 * day_of_year + 2) / 153;
    int month = (int)((month_from_march + 2) % 12 + 1);
    return (struct date){
        .year = year_of_era + era * 400 + (month <= 2),
        .month = month,
        .day = (int)(day_of_year - (153 * month_from_march + 2) / 5 + 1),
    };
}

int64_t lw_time_days(int64_t utc_ns)
{
    return floor_divide(utc_ns, second_ns * DAY_S);
}

void lw_time_format(int64_t utc_ns, int decimals, char text[LW_TIME_TEXT])
{
    assert(decimals == 0 || decimals == 3 || decimals == 6 || decimals == 9);
    int64_t seconds = floor_divide(utc_ns, second_ns);
    int64_t days = floor_divide(seconds, DAY_S);
    int second_of_day = (int)floor_rest(seconds, DAY_S);
    struct date date = date_from_days(days);
    char fraction[16];
    lw_print(fraction, sizeof fraction, ".%09d", (int)floor_rest(utc_ns, second_ns));
    fraction[decimals == 0 ? 0 : decimals + 1] = '\0';
    lw_print(text, LW_TIME_TEXT, "%04d-%02d-%02dT%02d:%02d:%02d%sZ", (int)date.year, date.month,
             date.day, second_of_day / 3600, second_of_day / 60 % 60, second_of_day % 60, fraction);
}

// Takes `digits` decimal digits and moves on, or says no.
static bool take_digits(const char **text, int digits, int *value)
{
    *value = 0;
    for (int i = 0; i < digits; i++, (*text)++) {
        if (**text < '0' || **text > '9') {
            return false;
        }
        *value = *value * 10 + (**text - '0');
    }
    return true;
}

static bool take_mark(const char **text, char mark)
{
    if (**text != mark) {
        return false;
    }
    (*text)++;
    return true;
}

static int days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

static bool take_date(const char **text, int64_t *days)
{
    int year, month, day;
    if (!take_digits(text, 4, &year) || !take_mark(text, '-') || !take_digits(text, 2, &month) ||
        !take_mark(text, '-') || !take_digits(text, 2, &day)) {
        return false;
    }
    if (month < 1 || month > 12 || day < 1 || day > days_in_month(year, month)) {
        return false;
    }
    *days = days_from_date((struct date){.year = year, .month = month, .day = day});
    return true;
}

// "HH:MM", as it stands in a time and in an offset.
static bool take_hour_minute(const char **text, int *seconds)
{
    int hour, minute;
    if (!take_digits(text, 2, &hour) || !take_mark(text, ':') || !take_digits(text, 2, &minute)) {
        return false;
    }
    *seconds = hour * 3600 + minute * 60;
    return hour < 24 && minute < 60;
}

// Digits beyond the ninth are dropped, not rounded.
static bool take_fraction(const char **text, int64_t *ns)
{
    *ns = 0;
    if (!take_mark(text, '.')) {
        return true;
    }
    const char *first = *text;
    int64_t weight = second_ns / 10;
    for (; **text >= '0' && **text <= '9'; (*text)++, weight /= 10) {
        *ns += (**text - '0') * weight;
    }
    return *text > first;
}

static bool take_offset(const char **text, int *offset_s)
{
    *offset_s = 0;
    if (take_mark(text, 'Z') || take_mark(text, 'z')) {
        return true;
    }
    bool west = **text == '-';
    if (!take_mark(text, '+') && !take_mark(text, '-')) {
        return false;
    }
    if (!take_hour_minute(text, offset_s)) {
        return false;
    }
    *offset_s = west ? -*offset_s : *offset_s;
    return true;
}

// Nanoseconds of 64 bits reach from 1677 to 2262.
static bool join(int64_t days, int64_t second_of_day, int64_t ns, int64_t *utc_ns)
{
    int64_t seconds = days * DAY_S + second_of_day;
    if (seconds < -INT64_MAX / second_ns + 1 || seconds > INT64_MAX / second_ns - 1) {
        return false;
    }
    *utc_ns = seconds * second_ns + ns;
    return true;
}

int lw_time_parse(const char *text, int64_t *utc_ns)
{
    int64_t days, ns = 0;
    int minutes_s = 0, second = 0, offset_s = 0;
    if (!take_date(&text, &days)) {
        return -1;
    }
    if (*text != '\0') {
        if (!(take_mark(&text, 'T') || take_mark(&text, 't') || take_mark(&text, ' ')) ||
            !take_hour_minute(&text, &minutes_s) || !take_mark(&text, ':') ||
            !take_digits(&text, 2, &second) || second > 59 || !take_fraction(&text, &ns) ||
            !take_offset(&text, &offset_s)) {
            return -1;
        }
    }
    bool whole = *text == '\0';
    return whole && join(days, minutes_s + second - offset_s, ns, utc_ns) ? 0 : -1;
}
