// SPDX-License-Identifier: GPL-3.0-or-later
//
// Columns of readings.
#include "base/series.h"

#include "base/text.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static enum lw_status add(struct lw_series *series, double time_s, const char *node, double value)
{
    struct lw_reading reading = {.time_s = time_s, .node = node, .unit = "mm", .value = value};
    return lw_series_add(series, &reading, NULL);
}

static void names_are_kept_once(void **state)
{
    (void)state;
    struct lw_series series = {0};
    assert_int_equal(lw_series_find(&series, "P01"), -1);
    for (int i = 0; i < 1000; i++) {
        char name[8];
        lw_print(name, sizeof name, "P%02d", i % 40);
        assert_int_equal(add(&series, i, name, i), LW_OK);
    }
    assert_int_equal(series.count, 1000);
    assert_int_equal(series.name_count, 40);
    assert_int_equal(lw_series_find(&series, "P07"), 7);
    assert_int_equal(lw_series_find(&series, "P40"), -1);
    assert_string_equal(series.names[39].node, "P39");
    assert_string_equal(series.names[39].unit, "mm");
    lw_series_finish(&series);
    lw_series_finish(NULL);
    assert_null(series.names);
}

static void one_node_comes_out_in_time_order(void **state)
{
    (void)state;
    struct lw_series series = {0};
    static const double times_s[] = {3, 1, 2, 1, 0, 2, 5, 4};
    double time_s[16], value[16];
    for (int i = 0; i < 8; i++) {
        assert_int_equal(add(&series, times_s[i], "a", i), LW_OK);
        assert_int_equal(add(&series, times_s[i], "b", -1), LW_OK);
    }
    static const double sorted_s[] = {0, 1, 1, 2, 2, 3, 4, 5};
    static const double in_order[] = {4, 1, 3, 2, 5, 0, 7, 6};
    assert_int_equal(lw_series_of(&series, 0, time_s, value), 8);
    for (int i = 0; i < 8; i++) {
        assert_true(time_s[i] == sorted_s[i] && value[i] == in_order[i]);
    }
    assert_int_equal(lw_series_of(&series, 2, time_s, value), 0);
    lw_series_finish(&series);
}

static void sorting_keeps_every_reading_at_its_time(void **state)
{
    (void)state;
    enum { COUNT = 20000 };
    struct lw_series series = {0};
    uint32_t seed = 7;
    for (int i = 0; i < COUNT; i++) {
        seed = seed * 1664525U + 1013904223U;
        double time = (double)(seed >> 18);
        assert_int_equal(add(&series, time, "a", time * 1000000 + i), LW_OK);
    }
    double *time_s = calloc(COUNT, sizeof *time_s), *value = calloc(COUNT, sizeof *value);
    assert_true(time_s != NULL && value != NULL);
    assert_int_equal(lw_series_of(&series, 0, time_s, value), COUNT);
    for (int i = 0; i < COUNT; i++) {
        assert_true(floor(value[i] / 1000000) == time_s[i]);
        assert_true(i == 0 || value[i] > value[i - 1]);
    }
    free(time_s);
    free(value);
    lw_series_finish(&series);
}

static void the_unit_of_a_node_stays(void **state)
{
    (void)state;
    struct lw_series series = {0};
    struct lw_reading reading = {.node = "a", .unit = "mm"};
    struct lw_error error = {0};
    assert_int_equal(lw_series_add(&series, &reading, &error), LW_OK);
    reading.unit = "um";
    assert_int_equal(lw_series_add(&series, &reading, &error), LW_USAGE);
    assert_string_equal(error.says, "the readings of one node change their unit");
    reading = (struct lw_reading){.node = "b", .unit = "a unit with a long name"};
    assert_int_equal(lw_series_add(&series, &reading, &error), LW_USAGE);
    reading.unit = NULL;
    assert_int_equal(lw_series_add(&series, &reading, &error), LW_OK);
    assert_string_equal(series.names[1].unit, "");
    assert_int_equal(series.count, 2);
    lw_series_finish(&series);
}

static void more_nodes_than_can_be_numbered_are_refused(void **state)
{
    (void)state;
    struct lw_series series = {0};
    for (int i = 0; i < 65536; i++) {
        char name[8];
        lw_print(name, sizeof name, "%d", i);
        assert_int_equal(add(&series, 0, name, 0), LW_OK);
    }
    assert_int_equal(add(&series, 0, "x", 0), LW_USAGE);
    assert_int_equal(add(&series, 0, "65535", 0), LW_OK);
    assert_int_equal(series.node[series.count - 1], 65535);
    lw_series_finish(&series);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_are_kept_once),
        cmocka_unit_test(one_node_comes_out_in_time_order),
        cmocka_unit_test(sorting_keeps_every_reading_at_its_time),
        cmocka_unit_test(the_unit_of_a_node_stays),
        cmocka_unit_test(more_nodes_than_can_be_numbered_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
