// SPDX-License-Identifier: GPL-3.0-or-later
//
// Strict parsers and exact printing.
#include "base/number.h"

#include "base/text.h"

#include <float.h>
#include <locale.h>
#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void whole_numbers_are_taken_within_their_range(void **state)
{
    (void)state;
    int64_t value = 0;
    assert_int_equal(lw_number_integer("247", 1, 247, &value, NULL), LW_OK);
    assert_int_equal(value, 247);
    assert_int_equal(lw_number_integer("-5", -5, 5, &value, NULL), LW_OK);
    assert_int_equal(value, -5);
    assert_int_equal(lw_number_integer("9223372036854775807", 0, INT64_MAX, &value, NULL), LW_OK);
    assert_true(value == INT64_MAX);
    assert_int_equal(lw_number_integer("0", 0, 0, &value, NULL), LW_OK);
}

static void slips_of_the_finger_are_no_whole_numbers(void **state)
{
    (void)state;
    static const char *const wrong[] = {"",    " 5", "5 ",  "+5", "5x", "x5",  "0x10", "1.0",
                                        "1e3", "-",  "--5", "05", "00", "-05", "5\n",  "-1"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        int64_t value = 42;
        struct lw_error error = {0};
        assert_int_equal(lw_number_integer(wrong[i], 0, 1000, &value, &error), LW_USAGE);
        assert_int_equal(value, 42);
        assert_non_null(strstr(error.says, "is no whole number"));
    }
}

static void whole_numbers_out_of_range_say_the_range(void **state)
{
    (void)state;
    int64_t value = 42;
    struct lw_error error = {0};
    assert_int_equal(lw_number_integer("248", 1, 247, &value, &error), LW_USAGE);
    assert_string_equal(error.says, "'248' is out of range: 1 to 247");
    assert_int_equal(lw_number_integer("99999999999999999999999", 1, 247, &value, &error),
                     LW_USAGE);
    assert_int_equal(lw_number_integer("-99999999999999999999999", -5, 247, &value, &error),
                     LW_USAGE);
    assert_int_equal(value, 42);
}

static void real_numbers_are_taken(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double value;
    } right[] = {{"0", 0}, {"-0.5", -0.5}, {"1e3", 1000}, {"1.25E-2", 0.0125}, {"1e+2", 100}};
    for (size_t i = 0; i < sizeof right / sizeof right[0]; i++) {
        double value = NAN;
        assert_int_equal(lw_number_real(right[i].text, -1e9, 1e9, false, &value, NULL), LW_OK);
        assert_true(value == right[i].value);
    }
}

static void slips_of_the_finger_are_no_real_numbers(void **state)
{
    (void)state;
    static const char *const wrong[] = {"",      " 5",  "5 ",  "+5", "5x",       "0x10", "nan",
                                        "inf",   "1.",  ".5",  "01", "1e",       "1e+",  "1,5",
                                        "1.2.3", "1_0", "--1", "-",  "Infinity", "1e999"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        double value = 42;
        assert_int_equal(lw_number_real(wrong[i], -DBL_MAX, DBL_MAX, false, &value, NULL),
                         LW_USAGE);
        assert_true(value == 42);
    }
}

static void one_decimal_comma_is_taken_where_typed(void **state)
{
    (void)state;
    double value = 0;
    assert_int_equal(lw_number_real("-1,5", -10, 10, true, &value, NULL), LW_OK);
    assert_true(value == -1.5);
    assert_int_equal(lw_number_real("1,5,2", -10, 10, true, &value, NULL), LW_USAGE);
    assert_int_equal(lw_number_real("1,234.5", -1e6, 1e6, true, &value, NULL), LW_USAGE);
    assert_int_equal(lw_number_real("1.234,5", -1e6, 1e6, true, &value, NULL), LW_USAGE);
}

static void real_numbers_out_of_range_say_the_range(void **state)
{
    (void)state;
    double value = 42;
    struct lw_error error = {0};
    assert_int_equal(lw_number_real("-0.1", 0, 5, false, &value, &error), LW_USAGE);
    assert_string_equal(error.says, "'-0.1' is out of range: 0 to 5");
    assert_int_equal(lw_number_real("-1", 0, INFINITY, false, &value, &error), LW_USAGE);
    assert_string_equal(error.says, "'-1' is out of range: at least 0");
    assert_int_equal(lw_number_real("6", -INFINITY, 5, false, &value, &error), LW_USAGE);
    assert_string_equal(error.says, "'6' is out of range: at most 5");
    assert_true(value == 42);
}

static void messages_are_clean(void **state)
{
    (void)state;
    double value;
    struct lw_error error = {0};
    assert_int_equal(lw_number_real("\x1b[2J", 0, 5, false, &value, &error), LW_USAGE);
    assert_string_equal(error.says, "'?[2J' is no number");
}

static void durations_are_seconds_whatever_their_unit(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double seconds;
    } right[] = {{"1.5s", 1.5}, {"200ms", 0.2}, {"2min", 120}, {"1h", 3600}, {"3", 3}, {"0", 0}};
    for (size_t i = 0; i < sizeof right / sizeof right[0]; i++) {
        double seconds = NAN;
        assert_int_equal(lw_number_duration(right[i].text, 0, 1e6, &seconds, NULL), LW_OK);
        assert_true(seconds == right[i].seconds);
    }
}

static void sizes_are_bytes_whatever_their_unit(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double bytes;
    } right[] = {{"512", 512}, {"7B", 7}, {"64kB", 64e3}, {"1.5MB", 1.5e6}, {"2GB", 2e9}};
    for (size_t i = 0; i < sizeof right / sizeof *right; i++) {
        double bytes = 0;
        assert_int_equal(lw_number_size(right[i].text, 0, 1e12, &bytes, NULL), LW_OK);
        assert_true(bytes == right[i].bytes);
    }
    static const char *const wrong[] = {"", " 5", "+5", "-1", "5x", "5 MB", "5KB", "5mb", "1e20GB"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        double bytes = 0;
        assert_int_equal(lw_number_size(wrong[i], 0, 1e12, &bytes, NULL), LW_USAGE);
    }
}

static void wrong_durations_are_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {"",    "s",   "1 s",   "1m",  "1S",   "1sec",
                                        "+1s", "1.s", "1e999", "-1s", "1e6h", "1s "};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        double seconds = 42;
        assert_int_equal(lw_number_duration(wrong[i], 0, 1e6, &seconds, NULL), LW_USAGE);
        assert_true(seconds == 42);
    }
}

static void assert_exact(double value, const char *expected)
{
    char text[LW_NUMBER_TEXT];
    lw_number_exact(value, text);
    assert_string_equal(text, expected);
}

static void exact_numbers_are_short(void **state)
{
    (void)state;
    assert_exact(0.1, "0.1");
    assert_exact(1, "1");
    assert_exact(-2.5, "-2.5");
    assert_exact(0.1 + 0.2, "0.30000000000000004");
    assert_exact(1e22, "1e+22");
    assert_exact(1.0 / 3.0, "0.3333333333333333");
}

static void exact_numbers_read_back(void **state)
{
    (void)state;
    static const double edges[] = {DBL_MAX, -DBL_MAX, DBL_MIN, DBL_TRUE_MIN, DBL_EPSILON, -0.0};
    uint64_t seed = 1;
    char text[LW_NUMBER_TEXT];
    for (size_t i = 0; i < sizeof edges / sizeof edges[0]; i++) {
        lw_number_exact(edges[i], text);
        assert_true(lw_number_value(text, strlen(text)) == edges[i]);
    }
    for (int i = 0; i < 200000; i++) {
        double value;
        seed = seed * 6364136223846793005U + 1442695040888963407U;
        memcpy(&value, &seed, sizeof value);
        if (isfinite(value)) {
            lw_number_exact(value, text);
            assert_int_equal(lw_number_span(text, strlen(text)), strlen(text));
            assert_true(lw_number_value(text, strlen(text)) == value);
        }
    }
}

static void assert_shown(double value, double resolution, const char *expected)
{
    char text[LW_NUMBER_TEXT];
    lw_number_for_people(value, resolution, text);
    assert_string_equal(text, expected);
}

static void people_see_as_many_digits_as_the_uncertainty_bears(void **state)
{
    (void)state;
    assert_shown(1.23456, 0.012, "1.235");
    assert_shown(1.23456, 0.0996, "1.23");
    assert_shown(123456, 250, "123460");
    assert_shown(123456, 25, "123456");
    assert_shown(-0.0001, 0.5, "0.00");
    assert_shown(12.3456, NAN, "12.3");
    assert_shown(12.3456, 0, "12.3");
    assert_shown(12.3456, -1, "12.3");
    assert_shown(0.00123456, NAN, "0.00123");
    assert_shown(98765, NAN, "98800");
    assert_shown(0, NAN, "0");
    assert_shown(NAN, 0.1, "-");
    assert_shown(1e300, NAN, "1.00e+300");
    assert_shown(9e13, 1e-20, "9.00e+13");
}

// Makes a locale with a decimal comma in a folder of its own and changes to it; false where the
// sources of locales are not installed.
static bool change_to_comma(const char *folder)
{
    char command[200];
    lw_print(command, sizeof command, "localedef -i de_DE -f UTF-8 %s/de_DE >/dev/null 2>&1",
             folder);
    int made = system(command);
    setenv("LOCPATH", folder, 1);
    return made == 0 && setlocale(LC_NUMERIC, "de_DE") != NULL &&
           strcmp(localeconv()->decimal_point, ",") == 0;
}

static void remove_locale(const char *folder)
{
    char command[200];
    setlocale(LC_NUMERIC, "C");
    unsetenv("LOCPATH");
    lw_print(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0);
}

static void the_locale_changes_nothing(void **state)
{
    (void)state;
    char folder[] = "/tmp/linewalk-test-locale-XXXXXX";
    double value = 0;
    assert_non_null(mkdtemp(folder));
    if (!change_to_comma(folder)) {
        remove_locale(folder);
        skip();
    }
    assert_exact(0.5, "0.5");
    assert_exact(0.1 + 0.2, "0.30000000000000004");
    assert_shown(0.5, 0.01, "0.500");
    assert_int_equal(lw_number_real("1.5", 0, 5, false, &value, NULL), LW_OK);
    remove_locale(folder);
    assert_true(value == 1.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_numbers_are_taken_within_their_range),
        cmocka_unit_test(slips_of_the_finger_are_no_whole_numbers),
        cmocka_unit_test(whole_numbers_out_of_range_say_the_range),
        cmocka_unit_test(real_numbers_are_taken),
        cmocka_unit_test(slips_of_the_finger_are_no_real_numbers),
        cmocka_unit_test(one_decimal_comma_is_taken_where_typed),
        cmocka_unit_test(real_numbers_out_of_range_say_the_range),
        cmocka_unit_test(messages_are_clean),
        cmocka_unit_test(durations_are_seconds_whatever_their_unit),
        cmocka_unit_test(wrong_durations_are_refused),
        cmocka_unit_test(sizes_are_bytes_whatever_their_unit),
        cmocka_unit_test(exact_numbers_are_short),
        cmocka_unit_test(exact_numbers_read_back),
        cmocka_unit_test(people_see_as_many_digits_as_the_uncertainty_bears),
        cmocka_unit_test(the_locale_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
