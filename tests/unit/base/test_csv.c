// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fields out, lines apart, and readings in.
#include "base/csv.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void assert_row(const char *first, const char *second, const char *row)
{
    struct lw_text text = {0};
    lw_csv_field(&text, first, 0);
    lw_csv_field(&text, second, 1);
    assert_string_equal(text.bytes, row);
    lw_text_finish(&text);
}

// RFC 4180 section 2: fields with a comma, a quote or a line break stand in quotes, a quote
// doubled.
static void fields_are_quoted_where_needed(void **state)
{
    (void)state;
    assert_row("a", "b", "a,b");
    assert_row("", "", ",");
    assert_row("a,b", "say \"x\"", "\"a,b\",\"say \"\"x\"\"\"");
    assert_row("two\nlines", " edge", "\"two\nlines\",\" edge\"");
    assert_row("# no remark", "#", "\"# no remark\",#");
}

static void formulas_are_made_harmless_and_numbers_left_alone(void **state)
{
    (void)state;
    assert_row("=1+1", "@x", "'=1+1,'@x");
    assert_row("-1.5e-3", "-x", "-1.5e-3,'-x");
    assert_row("+5", "=A1,\"", "'+5,\"'=A1,\"\"\"");
}

static int split(const char *from, char *line, char **fields)
{
    lw_copy(line, 80, from);
    return lw_csv_split(line, fields, 3);
}

static void lines_are_split_and_unquoted(void **state)
{
    (void)state;
    char line[80], *fields[3];
    assert_int_equal(split("a,,c\r\n", line, fields), 3);
    assert_string_equal(fields[1], "");
    assert_string_equal(fields[2], "c");
    assert_int_equal(split("\"a,\"\"b\",\"\"", line, fields), 2);
    assert_string_equal(fields[0], "a,\"b");
    assert_string_equal(fields[1], "");
    assert_int_equal(split("", line, fields), 1);
}

static void broken_quotes_and_surplus_fields_are_refused(void **state)
{
    (void)state;
    char line[80], *fields[3];
    assert_int_equal(split("\"a", line, fields), -1);
    assert_int_equal(split("\"a\"b,c", line, fields), -1);
    assert_int_equal(split("a\"b", line, fields), -1);
    assert_int_equal(split("a,b,c,d", line, fields), -1);
}

static void readings_come_with_unit_and_nodes(void **state)
{
    (void)state;
    static const char file[] = "\xef\xbb\xbf# unit: mm\r\n# by E. Example\r\ntime_s,node,value\r\n"
                               "0,P01,1.5\r\n\r\n0.1,\"P,2\",-2e-3\r\n0.05,P01,1.6";
    struct lw_series series;
    struct lw_error error = {0};
    assert_int_equal(lw_csv_readings(file, sizeof file - 1, "a.csv", "um", &series, &error), LW_OK);
    assert_int_equal(series.count, 3);
    assert_int_equal(series.name_count, 2);
    assert_string_equal(series.names[0].unit, "mm");
    assert_int_equal(lw_series_find(&series, "P,2"), 1);
    double time_s[3], value[3];
    assert_int_equal(lw_series_of(&series, 0, time_s, value), 2);
    assert_true(time_s[1] == 0.05 && value[1] == 1.6);
    lw_series_finish(&series);
}

static void the_caller_names_the_unit_where_the_file_does_not(void **state)
{
    (void)state;
    static const char file[] = "time_s,value\n0,1\n";
    struct lw_series series;
    assert_int_equal(lw_csv_readings(file, sizeof file - 1, "a", "um", &series, NULL), LW_OK);
    assert_string_equal(series.names[0].node, "");
    assert_string_equal(series.names[0].unit, "um");
    lw_series_finish(&series);
}

static void expect_refusal(const char *file, size_t length, const char *says)
{
    struct lw_series series;
    struct lw_error error = {0};
    char text[600];
    assert_int_equal(lw_csv_readings(file, length, "a.csv", NULL, &series, &error), LW_BAD_FILE);
    assert_string_equal(lw_error_text(&error, text, sizeof text), says);
    assert_int_equal(series.count, 0);
    assert_null(series.time_s);
}

static void what_is_wrong_is_said_with_its_line(void **state)
{
    (void)state;
#define REFUSED(file, says) expect_refusal(file, sizeof(file) - 1, "readings 'a.csv': " says)
    REFUSED("", "no line with the columns");
    REFUSED("# unit: furlong\n", "line 1: unknown unit 'furlong'");
    REFUSED("time_s,value\n",
            "line 1: no unit: neither '# unit: mm' before this line nor one given");
    REFUSED("time;value\n", "line 1: the columns must be 'time_s,node,value' or 'time_s,value'");
    REFUSED("# unit: mm\ntime_s,value\n0,1\n0,nan\n", "line 4: 'nan' is no number");
    REFUSED("# unit: mm\ntime_s,value\n0,1e999\n", "line 3: '1e999' is too large a number");
    REFUSED("# unit: mm\ntime_s,value\n 0,1\n", "line 3: ' 0' is no number");
    REFUSED("# unit: mm\ntime_s,value\n0,1,2\n", "line 3: not as many fields as the header has");
    REFUSED("# unit: mm\ntime_s,node,value\n0,,1\n",
            "line 3: the node's name is empty or not clean UTF-8");
    REFUSED("# unit: mm\ntime_s,node,value\n0,\x1b[m,1\n",
            "line 3: the node's name is empty or not clean UTF-8");
    REFUSED("# unit: mm\ntime_s,value\n0,\"1\n", "line 3: a broken quote or too many fields");
    REFUSED("# unit: mm\ntime_s,value\n# unit: um\n", "line 3: the unit changes within the file");
    REFUSED("# unit: mm\ntime_s,value\n0,1\0\n", "line 3: a NUL byte");
#undef REFUSED
}

static void an_endless_line_is_refused(void **state)
{
    (void)state;
    char file[2000];
    memset(file, '#', sizeof file);
    expect_refusal(file, sizeof file, "readings 'a.csv': line 1: too long");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fields_are_quoted_where_needed),
        cmocka_unit_test(formulas_are_made_harmless_and_numbers_left_alone),
        cmocka_unit_test(lines_are_split_and_unquoted),
        cmocka_unit_test(broken_quotes_and_surplus_fields_are_refused),
        cmocka_unit_test(readings_come_with_unit_and_nodes),
        cmocka_unit_test(the_caller_names_the_unit_where_the_file_does_not),
        cmocka_unit_test(what_is_wrong_is_said_with_its_line),
        cmocka_unit_test(an_endless_line_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
