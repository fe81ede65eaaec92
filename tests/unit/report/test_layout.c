// SPDX-License-Identifier: GPL-3.0-or-later
//
// Facts of a layout: what is drawn stands on the sheet, where the axes say, and no label covers
// another, for chains of 4, 24 and 200 nodes.
#include "report/chart.h"
#include "report/scale.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { WIDTH_MM = 180, HEIGHT_MM = 72 };

static const struct lw_op *op_at(const struct lw_display_list *list, size_t index)
{
    return &((const struct lw_op *)list->ops.items)[index];
}

static struct lw_chart *chain_chart(size_t nodes, const char *prefix)
{
    struct lw_chart *chart = lw_chart_new("Supply voltage", "Voltages fall along the chain.");
    lw_chart_axes(chart, "node", NULL, "voltage", "V");
    for (size_t i = 0; i < nodes; i++) {
        char name[64];
        snprintf(name, sizeof name, "%s%zu", prefix, i + 1);
        lw_chart_name(chart, name);
    }
    lw_chart_series(chart, "computed", LW_INK_COMPUTED, LW_SHAPE_LINE);
    for (size_t i = 0; i < nodes; i++) {
        lw_chart_point(chart, (double)i + 1, 24 - 4.0 * (double)i / (double)nodes);
    }
    lw_chart_series(chart, "measured", LW_INK_MEASURED, LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < nodes; i++) {
        double volts = 23.9 - 4.0 * (double)i / (double)nodes;
        lw_chart_interval(chart, (double)i + 1, volts, volts - 0.1, volts + 0.1);
    }
    lw_chart_limit(chart, "minimum 18 V", 18, false);
    lw_chart_limit(chart, "margin 19 V", 19, false);
    lw_chart_mark(chart, "weak span", 3, 22);
    return chart;
}

static struct lw_display_list laid(const struct lw_chart *chart)
{
    struct lw_display_list list;
    struct lw_error error = {0};
    assert_int_equal(lw_chart_layout(chart, WIDTH_MM, HEIGHT_MM, &list, &error), LW_OK);
    return list;
}

static bool overlap(struct lw_box a, struct lw_box b)
{
    return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}

static void check_labels(const struct lw_display_list *list)
{
    for (size_t i = 0; i < list->ops.count; i++) {
        struct lw_box box = lw_op_box(op_at(list, i));
        assert_true(box.left >= -1e-9 && box.right <= WIDTH_MM + 1e-9);
        assert_true(box.top >= -1e-9 && box.bottom <= HEIGHT_MM + 1e-9);
        for (size_t k = 0; k < i && op_at(list, i)->kind == LW_OP_TEXT; k++) {
            if (op_at(list, k)->kind == LW_OP_TEXT) {
                assert_false(overlap(box, lw_op_box(op_at(list, k))));
            }
        }
    }
}

static size_t count_text(const struct lw_display_list *list, const char *text)
{
    size_t count = 0;
    for (size_t i = 0; i < list->ops.count; i++) {
        count += op_at(list, i)->kind == LW_OP_TEXT && strcmp(op_at(list, i)->text, text) == 0;
    }
    return count;
}

static void no_label_covers_another_or_leaves_the_sheet(void **state)
{
    (void)state;
    const size_t sizes[] = {1, 4, 24, 60, 200};
    const char *const prefixes[] = {"P", "station 14 upper left ", "\xe6\xb8\xac\xe5\xae\x9a"};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        for (size_t k = 0; k < sizeof prefixes / sizeof *prefixes; k++) {
            struct lw_chart *chart = chain_chart(sizes[i], prefixes[k]);
            struct lw_display_list list = laid(chart);
            check_labels(&list);
            assert_int_equal(count_text(&list, "minimum 18 V"), 1);
            assert_int_equal(count_text(&list, "margin 19 V"), 1);
            lw_display_list_finish(&list);
            lw_chart_free(chart);
        }
    }
}

static void every_node_is_named_as_long_as_there_is_room(void **state)
{
    (void)state;
    struct lw_chart *chart = chain_chart(24, "P");
    struct lw_display_list list = laid(chart);
    for (int i = 1; i <= 24; i++) {
        char name[8];
        snprintf(name, sizeof name, "P%d", i);
        assert_int_equal(count_text(&list, name), 1);
    }
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void of_two_hundred_nodes_every_so_many_is_named(void **state)
{
    (void)state;
    struct lw_chart *chart = chain_chart(200, "P");
    struct lw_display_list list = laid(chart);
    assert_int_equal(count_text(&list, "P1"), 1);
    assert_int_equal(count_text(&list, "P100"), 1);
    assert_int_equal(count_text(&list, "P101"), 0);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

// The height of a tick's text tells where its value stands.
static double height_of_value(const struct lw_display_list *list, const char *tick)
{
    for (size_t i = 0; i < list->ops.count; i++) {
        const struct lw_op *op = op_at(list, i);
        if (op->kind == LW_OP_TEXT && op->anchor == 1 && strcmp(op->text, tick) == 0) {
            return op->y - 0.35 * op->size_mm;
        }
    }
    fail_msg("no tick '%s'", tick);
    return 0;
}

static void a_limit_stands_at_its_value_from_edge_to_edge(void **state)
{
    (void)state;
    struct lw_chart *chart = chain_chart(24, "P");
    struct lw_display_list list = laid(chart);
    double at_18 = height_of_value(&list, "18"), at_22 = height_of_value(&list, "22");
    double at_19 = at_18 + (at_22 - at_18) / 4;
    bool seen_18 = false, seen_19 = false;
    for (size_t i = 0; i < list.ops.count; i++) {
        const struct lw_op *op = op_at(&list, i);
        if (op->kind == LW_OP_LINE && op->ink == LW_INK_LIMIT) {
            seen_18 = seen_18 || fabs(op->y - at_18) < 1e-6;
            seen_19 = seen_19 || fabs(op->y - at_19) < 1e-6;
            assert_true(op->x2 - op->x > 0.85 * WIDTH_MM);
        }
    }
    assert_true(seen_18 && seen_19);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void a_trace_keeps_two_points_a_column_and_its_extremes(void **state)
{
    (void)state;
    struct lw_chart *chart = lw_chart_new("Trace", "A trace.");
    lw_chart_axes(chart, "time", "s", "reading", "um");
    lw_chart_series(chart, "reading", LW_INK_MEASURED, LW_SHAPE_LINE);
    for (int i = 0; i < 100000; i++) {
        lw_chart_point(chart, i * 1e-3, i == 54321 ? 10 : sin(i * 0.7));
    }
    struct lw_display_list list = laid(chart);
    size_t lines = 0;
    double highest = INFINITY;
    for (size_t i = 0; i < list.ops.count; i++) {
        const struct lw_op *op = op_at(&list, i);
        if (op->kind == LW_OP_LINE && op->ink == LW_INK_MEASURED && op->x > 10) {
            lines++;
            highest = fmin(highest, fmin(op->y, op->y2));
        }
    }
    assert_in_range(lines, 500, 2 * WIDTH_MM * 4);
    assert_true(fabs(highest - height_of_value(&list, "10")) < 1e-6);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void a_value_that_is_missing_leaves_a_gap(void **state)
{
    (void)state;
    struct lw_chart *chart = lw_chart_new("Gap", "A gap.");
    lw_chart_axes(chart, "node", NULL, "voltage", "V");
    lw_chart_series(chart, "computed", LW_INK_COMPUTED, LW_SHAPE_LINE);
    const double y[] = {1, 2, NAN, 3, 4};
    for (int i = 0; i < 5; i++) {
        lw_chart_point(chart, i, y[i]);
    }
    struct lw_display_list list = laid(chart);
    size_t lines = 0;
    for (size_t i = 0; i < list.ops.count; i++) {
        lines += op_at(&list, i)->kind == LW_OP_LINE && op_at(&list, i)->ink == LW_INK_COMPUTED;
    }
    assert_int_equal(lines, 3); // two pieces and the legend's sample
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void nothing_finite_is_said_not_drawn(void **state)
{
    (void)state;
    struct lw_chart *chart = lw_chart_new("Nothing", "Nothing.");
    struct lw_display_list list;
    struct lw_error error = {0};
    lw_chart_axes(chart, "node", NULL, "voltage", "V");
    lw_chart_series(chart, "measured", LW_INK_MEASURED, LW_SHAPE_DOTS);
    lw_chart_point(chart, 1, NAN);
    lw_chart_limit(chart, "limit", 3, true);
    assert_int_equal(lw_chart_layout(chart, WIDTH_MM, HEIGHT_MM, &list, &error), LW_GARBLED);
    assert_string_equal(error.says, "nothing finite to draw");
    lw_chart_free(chart);
}

static void zero_stands_at_the_foot_of_a_logarithmic_axis(void **state)
{
    (void)state;
    struct lw_chart *chart = lw_chart_new("Rates", "Rates.");
    lw_chart_axes(chart, "node", NULL, "rate", NULL);
    chart->y.logarithmic = true;
    lw_chart_series(chart, "rate", LW_INK_MEASURED, LW_SHAPE_DOTS);
    lw_chart_point(chart, 1, 0);
    lw_chart_point(chart, 2, 0.009);
    lw_chart_point(chart, 3, 0.0015);
    struct lw_display_list list = laid(chart);
    double foot = height_of_value(&list, "0.0001"), top = height_of_value(&list, "0.01");
    double decade = (top - foot) / 2, heights[3];
    size_t count = 0;
    for (size_t i = 0; i < list.ops.count; i++) {
        const struct lw_op *op = op_at(&list, i);
        if (op->kind == LW_OP_DOT && op->y > top - 1) {
            heights[count++] = op->y;
        }
    }
    assert_int_equal(count, 3);
    assert_true(fabs(heights[0] - foot) < 1e-6);
    assert_true(fabs(heights[1] - (foot + decade * log10(0.009 / 0.0001))) < 1e-6);
    assert_true(fabs(heights[2] - (foot + decade * log10(0.0015 / 0.0001))) < 1e-6);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void ticks_are_round_and_read_back(void **state)
{
    (void)state;
    const struct {
        double low, high;
        const char *first, *last;
    } cases[] = {
        {0, 1, "0.0", "1.0"},
        {17.3, 23.9, "16", "24"},
        {-0.4, 0.37, "-0.4", "0.4"},
        {0, 8700, "0", "10000"},
        {5.000001, 5.000009, "5.000000", "5.000010"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct lw_scale scale;
        char first[LW_TICK_TEXT], last[LW_TICK_TEXT];
        lw_scale_choose(&scale, cases[i].low, cases[i].high, false, false, 5);
        lw_scale_tick_text(&scale, 0, first);
        lw_scale_tick_text(&scale, scale.tick_count - 1, last);
        assert_string_equal(first, cases[i].first);
        assert_string_equal(last, cases[i].last);
        assert_true(scale.low <= cases[i].low && scale.high >= cases[i].high);
    }
}

static void a_range_without_width_is_widened(void **state)
{
    (void)state;
    struct lw_scale scale;
    lw_scale_choose(&scale, 24, 24, false, false, 5);
    assert_true(scale.low < 24 && scale.high > 24);
    lw_scale_choose(&scale, 0, 0, false, false, 5);
    assert_true(scale.low < 0 && scale.high > 0);
    lw_scale_choose(&scale, 1e-3, 1e-3, true, false, 5);
    assert_true(scale.low < 1e-3 && scale.high > 1e-3);
}

static void bars_stand_on_zero_and_end_at_their_value(void **state)
{
    (void)state;
    struct lw_chart *chart = lw_chart_new("Histogram", "A histogram.");
    lw_chart_axes(chart, "reading", "um", "readings", NULL);
    lw_chart_series(chart, "count", LW_INK_BAND, LW_SHAPE_BARS);
    const double counts[] = {2, 10, 4};
    for (int i = 0; i < 3; i++) {
        lw_chart_point(chart, 5 + i, counts[i]);
    }
    struct lw_display_list list = laid(chart);
    double at_0 = height_of_value(&list, "0"), at_10 = height_of_value(&list, "10");
    size_t bars = 0;
    double before = 0;
    for (size_t i = 0; i < list.ops.count; i++) {
        const struct lw_op *op = op_at(&list, i);
        if (op->kind == LW_OP_RECT && op->y > 12) {
            assert_true(fabs(op->y2 - at_0) < 1e-6);
            assert_true(fabs(op->y - (at_0 + (at_10 - at_0) * counts[bars] / 10)) < 1e-6);
            assert_true(op->x > before);
            before = op->x2;
            bars++;
        }
    }
    assert_int_equal(bars, 3);
    check_labels(&list);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

static void long_names_stand_upright(void **state)
{
    (void)state;
    struct lw_chart *chart = chain_chart(24, "station ");
    struct lw_display_list list = laid(chart);
    size_t upright = 0;
    for (size_t i = 0; i < list.ops.count; i++) {
        upright += op_at(&list, i)->upright;
    }
    assert_int_equal(upright, 24);
    check_labels(&list);
    lw_display_list_finish(&list);
    lw_chart_free(chart);
}

// Relative luminance and contrast ratio as WCAG 2.1 defines them.
static double luminance(unsigned colour)
{
    double sum = 0;
    const double weights[] = {0.2126, 0.7152, 0.0722};
    for (int i = 0; i < 3; i++) {
        double value = (double)(colour >> (16 - 8 * i) & 255) / 255;
        sum += weights[i] * (value <= 0.03928 ? value / 12.92 : pow((value + 0.055) / 1.055, 2.4));
    }
    return sum;
}

static double contrast(unsigned a, unsigned b)
{
    double la = luminance(a), lb = luminance(b);
    return (fmax(la, lb) + 0.05) / (fmin(la, lb) + 0.05);
}

static void inks_that_carry_meaning_are_legible_on_paper_and_screen(void **state)
{
    (void)state;
    // 4.5 is what WCAG 2.1, 1.4.3 asks of text
    for (int i = 0; i < LW_INKS; i++) {
        if (i != LW_INK_GRID && i != LW_INK_BAND) {
            assert_true(contrast(lw_inks[i].light, 0xffffff) >= 4.5);
            assert_true(contrast(lw_inks[i].dark, 0x14171a) >= 4.5);
        }
    }
}

static void lines_of_different_meaning_differ_without_colour(void **state)
{
    (void)state;
    const enum lw_ink lines[] = {LW_INK_COMPUTED, LW_INK_WORST, LW_INK_LIMIT};
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < i; k++) {
            assert_true(lw_inks[lines[i]].dash_mm != lw_inks[lines[k]].dash_mm);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_label_covers_another_or_leaves_the_sheet),
        cmocka_unit_test(every_node_is_named_as_long_as_there_is_room),
        cmocka_unit_test(of_two_hundred_nodes_every_so_many_is_named),
        cmocka_unit_test(a_limit_stands_at_its_value_from_edge_to_edge),
        cmocka_unit_test(a_trace_keeps_two_points_a_column_and_its_extremes),
        cmocka_unit_test(a_value_that_is_missing_leaves_a_gap),
        cmocka_unit_test(nothing_finite_is_said_not_drawn),
        cmocka_unit_test(zero_stands_at_the_foot_of_a_logarithmic_axis),
        cmocka_unit_test(ticks_are_round_and_read_back),
        cmocka_unit_test(a_range_without_width_is_widened),
        cmocka_unit_test(bars_stand_on_zero_and_end_at_their_value),
        cmocka_unit_test(long_names_stand_upright),
        cmocka_unit_test(inks_that_carry_meaning_are_legible_on_paper_and_screen),
        cmocka_unit_test(lines_of_different_meaning_differ_without_colour),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
