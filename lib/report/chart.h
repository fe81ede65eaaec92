// SPDX-License-Identifier: GPL-3.0-or-later
//
// A chart as meaning: title, text alternative, axes with units, series, limits, marks. Laid out
// once into a display list of lines, rectangles, dots and text with a class each (limit, computed,
// measured, ...), never a colour; HTML (as SVG) and PDF both draw that list.
#ifndef LW_REPORT_CHART_H
#define LW_REPORT_CHART_H

#include "base/json.h"

#include <stdbool.h>
#include <stddef.h>

enum lw_ink {
    LW_INK_FRAME,
    LW_INK_GRID,
    LW_INK_TEXT,
    LW_INK_COMPUTED,
    LW_INK_MEASURED,
    LW_INK_WORST,
    LW_INK_LIMIT,
    LW_INK_MARK,
    LW_INK_BAND
};
enum lw_mark_shape {
    LW_SHAPE_LINE,
    LW_SHAPE_STEPS,
    LW_SHAPE_DOTS,
    LW_SHAPE_BARS,
    LW_SHAPE_INTERVALS
};

struct lw_axis {
    char *label, *unit;
    double low, high; // NAN: from the data
    bool logarithmic;
    struct lw_list names; // of char *: categories instead of numbers, at 1, 2, ...
};
struct lw_chart_series {
    char *label;
    enum lw_ink ink;
    enum lw_mark_shape shape;
    struct lw_list x, y, y_low, y_high; // of double; the last two for intervals
};
struct lw_chart_limit {
    char *label;
    double at; // on the y axis
    bool upper;
};
struct lw_chart_mark {
    char *label;
    double x, y;
};
struct lw_chart {
    char *title, *alternative;
    struct lw_axis x, y;
    struct lw_list series; // of struct lw_chart_series
    struct lw_list limits; // of struct lw_chart_limit
    struct lw_list marks;  // of struct lw_chart_mark
};

enum lw_op_kind { LW_OP_LINE, LW_OP_RECT, LW_OP_DOT, LW_OP_TEXT };
struct lw_op {
    enum lw_op_kind kind;
    enum lw_ink ink;
    double x, y, x2, y2; // mm from the top left; text: anchor point
    double size_mm;      // text height, dot diameter, line width (0: the ink's own)
    int anchor;          // text: -1 left, 0 middle, 1 right
    bool upright;        // text turned by 90 degrees
    char *text;
};
struct lw_display_list {
    double width_mm, height_mm;
    struct lw_list ops; // of struct lw_op
};

// LW_GARBLED when there is nothing finite to draw. Traces are reduced to at most two points a
// column of 0.25 mm.
enum lw_status lw_chart_layout(const struct lw_chart *chart, double width_mm, double height_mm,
                               struct lw_display_list *list, struct lw_error *error);
void lw_display_list_finish(struct lw_display_list *list);
void lw_chart_free(struct lw_chart *chart);

#endif
