// SPDX-License-Identifier: GPL-3.0-or-later
//
// Clocks and dates. Examples of RFC 3339 are those of its section 5.8; day numbers are compared
// with the C library's gmtime_r(), an implementation that shares nothing with ours.
#include "base/clock.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static const int64_t second_ns = 1000000000;

static int64_t parsed(const char *text)
{
    int64_t utc_ns = INT64_MIN;
    assert_int_equal(lw_time_parse(text, &utc_ns), 0);
    return utc_ns;
}

static void a_virtual_clock_stands_until_moved(void **state)
{
    (void)state;
    struct lw_clock clock;
    lw_clock_virtual(&clock, 1700000000 * second_ns);
    assert_int_equal(lw_clock_now_ns(&clock), 0);
    clock.fixed_ns = 42;
    assert_int_equal(lw_clock_now_ns(&clock), 42);
    assert_int_equal(lw_clock_utc_ns(&clock, 42), 1700000000 * second_ns + 42);
}

static void the_system_clock_goes_on_and_tells_the_date(void **state)
{
    (void)state;
    struct lw_clock clock;
    lw_clock_system(&clock);
    int64_t first_ns = lw_clock_now_ns(&clock);
    int64_t second = lw_clock_now_ns(&clock);
    assert_true(second >= first_ns);
    int64_t apart_ns = lw_clock_utc_ns(&clock, second) - (int64_t)time(NULL) * second_ns;
    assert_true(apart_ns > -2 * second_ns && apart_ns < 60 * second_ns);
}

static void times_are_read_as_rfc_3339_writes_them(void **state)
{
    (void)state;
    char text[LW_TIME_TEXT];
    lw_time_format(parsed("1985-04-12T23:20:50.52Z"), 3, text);
    assert_string_equal(text, "1985-04-12T23:20:50.520Z");
    assert_int_equal(parsed("1996-12-19T16:39:57-08:00"), parsed("1996-12-20T00:39:57Z"));
    assert_int_equal(parsed("1937-01-01T12:00:27.87+00:20"), parsed("1937-01-01T11:40:27.87Z"));
    assert_int_equal(parsed("1970-01-01T00:00:00Z"), 0);
    assert_int_equal(parsed("1970-01-01t00:00:00.000000001999z"), 1);
    assert_int_equal(parsed("2026-11-02"), parsed("2026-11-02T00:00:00Z"));
    assert_int_equal(parsed("2024-02-29 00:00:00Z"), parsed("2024-02-29"));
}

static void what_is_no_time_is_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "",
        " 2026-11-02",
        "2026-11-2",
        "2026-13-01",
        "2026-00-01",
        "2026-02-29",
        "1900-02-29",
        "2026-11-00",
        "2026-11-31",
        "2026-11-02T",
        "2026-11-02T08:31:02",
        "2026-11-02T24:00:00Z",
        "2026-11-02T08:60:00Z",
        "1990-12-31T23:59:60Z", // a leap second of RFC 3339 section 5.8
        "2026-11-02T08:31:02.Z",
        "2026-11-02T08:31:02+0100",
        "2026-11-02T08:31:02+24:00",
        "2026-11-02T08:31:02ZZ",
        "-026-11-02",
        "1677-01-01",
        "2263-01-01",
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        int64_t utc_ns = 7;
        assert_int_equal(lw_time_parse(wrong[i], &utc_ns), -1);
        assert_int_equal(utc_ns, 7);
    }
}

static void dates_agree_with_the_c_library_for_two_centuries(void **state)
{
    (void)state;
    for (int64_t days = -36525; days < 84000; days++) {
        time_t seconds = (time_t)(days * 86400 + 86399);
        struct tm tm;
        char ours[LW_TIME_TEXT], theirs[LW_TIME_TEXT];
        assert_non_null(gmtime_r(&seconds, &tm));
        strftime(theirs, sizeof theirs, "%Y-%m-%dT%H:%M:%SZ", &tm);
        lw_time_format((int64_t)seconds * second_ns + 999999999, 0, ours);
        assert_string_equal(ours, theirs);
        assert_int_equal(parsed(ours), (int64_t)seconds * second_ns);
        assert_int_equal(lw_time_days((int64_t)seconds * second_ns), days);
    }
}

static void fractions_are_cut_not_rounded(void **state)
{
    (void)state;
    char text[LW_TIME_TEXT];
    lw_time_format(1999999999, 0, text);
    assert_string_equal(text, "1970-01-01T00:00:01Z");
    lw_time_format(1999999999, 6, text);
    assert_string_equal(text, "1970-01-01T00:00:01.999999Z");
    lw_time_format(-1, 9, text);
    assert_string_equal(text, "1969-12-31T23:59:59.999999999Z");
    lw_time_format(INT64_MIN, 9, text);
    assert_string_equal(text, "1677-09-21T00:12:43.145224192Z");
    lw_time_format(INT64_MAX, 9, text);
    assert_string_equal(text, "2262-04-11T23:47:16.854775807Z");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_virtual_clock_stands_until_moved),
        cmocka_unit_test(the_system_clock_goes_on_and_tells_the_date),
        cmocka_unit_test(times_are_read_as_rfc_3339_writes_them),
        cmocka_unit_test(what_is_no_time_is_refused),
        cmocka_unit_test(dates_agree_with_the_c_library_for_two_centuries),
        cmocka_unit_test(fractions_are_cut_not_rounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
