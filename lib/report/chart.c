// SPDX-License-Identifier: GPL-3.0-or-later
//
// Charts as meaning: filling and freeing. What stands where is layout.c's business.
#include "report/chart.h"

#include "base/list.h"
#include "report/document.h"

#include <assert.h>

enum { LABEL_MOST = 120 };

// Colours reach a contrast of 4.5 against paper and screen; computed in tests.
const struct lw_ink_style lw_inks[LW_INKS] = {
    [LW_INK_FRAME] = {"frame", 0.25, 0, 0, 0x4a5058, 0xaeb4bb},
    [LW_INK_GRID] = {"grid", 0.12, 0, 0, 0xc9ced3, 0x3c434a},
    [LW_INK_TEXT] = {"text", 0.2, 0, 0, 0x1b1f23, 0xe6e9ec},
    [LW_INK_COMPUTED] = {"computed", 0.5, 0, 0, 0x0a5c86, 0x79c0ea},
    [LW_INK_MEASURED] = {"measured", 0.3, 0, 0, 0x1b1f23, 0xf2f4f6},
    [LW_INK_WORST] = {"worst", 0.45, 1.6, 0.9, 0x7a5200, 0xe0b04a},
    [LW_INK_LIMIT] = {"limit", 0.55, 3.2, 1.0, 0xa3211c, 0xff938a},
    [LW_INK_MARK] = {"mark", 0.4, 0, 0, 0x6a2c91, 0xd3a3f0},
    [LW_INK_BAND] = {"band", 0.2, 0, 0, 0x8fb4c7, 0x3d6478},
};

static char *keep(struct lw_chart *chart, const char *text)
{
    char *kept = lw_document_text(text, LABEL_MOST);
    chart->failed = chart->failed || kept == NULL;
    return kept;
}

static void *grow(struct lw_chart *chart, struct lw_list *list, size_t size)
{
    void *item = chart->failed ? NULL : lw_list_add(list, size);
    chart->failed = item == NULL;
    return item;
}

struct lw_chart *lw_chart_new(const char *title, const char *alternative)
{
    struct lw_chart *chart = calloc(1, sizeof *chart);
    if (chart == NULL) {
        return NULL;
    }
    chart->x.low = chart->x.high = chart->y.low = chart->y.high = NAN;
    chart->title = keep(chart, title);
    chart->alternative = lw_document_text(alternative, LW_DOCUMENT_SENTENCE);
    chart->failed = chart->failed || chart->alternative == NULL;
    return chart;
}

static void axis(struct lw_chart *chart, struct lw_axis *axis, const char *label, const char *unit)
{
    axis->label = keep(chart, label);
    axis->unit = unit == NULL ? NULL : keep(chart, unit);
}

void lw_chart_axes(struct lw_chart *chart, const char *x_label, const char *x_unit,
                   const char *y_label, const char *y_unit)
{
    if (chart == NULL) {
        return;
    }
    axis(chart, &chart->x, x_label, x_unit);
    axis(chart, &chart->y, y_label, y_unit);
}

void lw_chart_name(struct lw_chart *chart, const char *name)
{
    char **kept = chart == NULL ? NULL : grow(chart, &chart->x.names, sizeof *kept);
    if (kept != NULL) {
        *kept = keep(chart, name == NULL ? "-" : name);
    }
}

void lw_chart_series(struct lw_chart *chart, const char *label, enum lw_ink ink,
                     enum lw_mark_shape shape)
{
    struct lw_chart_series *series =
        chart == NULL ? NULL : grow(chart, &chart->series, sizeof *series);
    if (series != NULL) {
        series->label = keep(chart, label);
        series->ink = ink;
        series->shape = shape;
    }
}

static void add_number(struct lw_chart *chart, struct lw_list *list, double value)
{
    double *kept = grow(chart, list, sizeof *kept);
    if (kept != NULL) {
        *kept = value;
    }
}

void lw_chart_interval(struct lw_chart *chart, double x, double y, double y_low, double y_high)
{
    if (chart == NULL || chart->failed) {
        return;
    }
    assert(chart->series.count > 0 && isfinite(x));
    struct lw_chart_series *all = chart->series.items;
    struct lw_chart_series *series = &all[chart->series.count - 1];
    add_number(chart, &series->x, x);
    add_number(chart, &series->y, y);
    add_number(chart, &series->y_low, y_low);
    add_number(chart, &series->y_high, y_high);
}

void lw_chart_point(struct lw_chart *chart, double x, double y)
{
    lw_chart_interval(chart, x, y, y, y);
}

void lw_chart_limit(struct lw_chart *chart, const char *label, double at, bool upper)
{
    assert(isfinite(at));
    struct lw_chart_limit *limit =
        chart == NULL ? NULL : grow(chart, &chart->limits, sizeof *limit);
    if (limit != NULL) {
        *limit = (struct lw_chart_limit){keep(chart, label), at, upper};
    }
}

void lw_chart_mark(struct lw_chart *chart, const char *label, double x, double y)
{
    assert(isfinite(x) && isfinite(y));
    struct lw_chart_mark *mark = chart == NULL ? NULL : grow(chart, &chart->marks, sizeof *mark);
    if (mark != NULL) {
        *mark = (struct lw_chart_mark){keep(chart, label), x, y};
    }
}

static void axis_free(struct lw_axis *axis)
{
    free(axis->label);
    free(axis->unit);
    for (size_t i = 0; i < axis->names.count; i++) {
        free(((char **)axis->names.items)[i]);
    }
    free(axis->names.items);
}

static void series_free(struct lw_chart_series *series)
{
    free(series->label);
    free(series->x.items);
    free(series->y.items);
    free(series->y_low.items);
    free(series->y_high.items);
}

void lw_chart_free(struct lw_chart *chart)
{
    if (chart == NULL) {
        return;
    }
    for (size_t i = 0; i < chart->series.count; i++) {
        series_free(&((struct lw_chart_series *)chart->series.items)[i]);
    }
    for (size_t i = 0; i < chart->limits.count; i++) {
        free(((struct lw_chart_limit *)chart->limits.items)[i].label);
    }
    for (size_t i = 0; i < chart->marks.count; i++) {
        free(((struct lw_chart_mark *)chart->marks.items)[i].label);
    }
    free(chart->series.items);
    free(chart->limits.items);
    free(chart->marks.items);
    axis_free(&chart->x);
    axis_free(&chart->y);
    free(chart->title);
    free(chart->alternative);
    free(chart);
}
