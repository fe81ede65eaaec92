// SPDX-License-Identifier: GPL-3.0-or-later
//
// A chart as meaning: title, text alternative, axes with units, series, limits, marks. Laid out
// once into a display list of lines, rectangles, dots and text with an ink each (limit, computed,
// measured, ...), never a colour; HTML (as SVG) and PDF both draw that list.
//
// A chart is filled like a document: points belong to the series begun last, and `failed` says at
// the end that memory ran out.
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
enum { LW_INKS = LW_INK_BAND + 1 };

// How an ink is drawn. Inks differ in line and dash as well as in colour, so that a grey print
// tells them apart. Dash: line and gap in mm, 0 for an unbroken line. Colours 0xRRGGBB.
struct lw_ink_style {
    const char *word; // "computed"
    double line_mm, dash_mm, gap_mm;
    unsigned light, dark; // on white paper, on a dark screen
};
extern const struct lw_ink_style lw_inks[LW_INKS];

enum lw_mark_shape {
    LW_SHAPE_LINE,
    LW_SHAPE_STEPS, // one level a category
    LW_SHAPE_DOTS,
    LW_SHAPE_BARS,
    LW_SHAPE_INTERVALS
};

struct lw_axis {
    char *label, *unit; // unit NULL: none
    double low, high;   // NAN: from the data
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
    bool failed;           // memory ran out
};

// NULL when memory is out. The text alternative says in words what the chart shows, with the
// figures that matter.
struct lw_chart *lw_chart_new(const char *title, const char *alternative);
void lw_chart_axes(struct lw_chart *chart, const char *x_label, const char *x_unit,
                   const char *y_label, const char *y_unit);
void lw_chart_name(struct lw_chart *chart, const char *name); // next category of the x axis
void lw_chart_series(struct lw_chart *chart, const char *label, enum lw_ink ink,
                     enum lw_mark_shape shape);
// A y that is not finite leaves a gap.
void lw_chart_point(struct lw_chart *chart, double x, double y);
void lw_chart_interval(struct lw_chart *chart, double x, double y, double y_low, double y_high);
void lw_chart_limit(struct lw_chart *chart, const char *label, double at, bool upper);
void lw_chart_mark(struct lw_chart *chart, const char *label, double x, double y);
void lw_chart_free(struct lw_chart *chart);

enum lw_op_kind { LW_OP_LINE, LW_OP_RECT, LW_OP_DOT, LW_OP_TEXT };
struct lw_op {
    enum lw_op_kind kind;
    enum lw_ink ink;
    double x, y, x2, y2; // mm from the top left; text: anchor point on the base line
    double size_mm;      // text height, dot diameter, line width (0: the ink's own)
    int anchor;          // text: -1 left, 0 middle, 1 right
    bool upright;        // text turned by 90 degrees, reading upwards
    char *text;
};
struct lw_display_list {
    double width_mm, height_mm;
    struct lw_list ops; // of struct lw_op
};

// How large a report draws its figures.
enum { LW_FIGURE_WIDTH_MM = 180, LW_FIGURE_HEIGHT_MM = 64 };

// Lines that follow each other with the same ink and meet are one path: a renderer draws them so,
// which keeps dashes even. LW_GARBLED when there is nothing finite to draw. Traces are reduced to
// at most two points a column of 0.25 mm. No two texts overlap, by the estimate of lw_op_box(); a
// label that finds no place is left out, names on the category axis first.
enum lw_status lw_chart_layout(const struct lw_chart *chart, double width_mm, double height_mm,
                               struct lw_display_list *list, struct lw_error *error);
void lw_display_list_finish(struct lw_display_list *list);

struct lw_box {
    double left, top, right, bottom; // mm
};
// Width of a text as a multiple of its height, by an estimate on the wide side.
double lw_text_em(const char *text);
// The place that an op takes; text by that estimate.
struct lw_box lw_op_box(const struct lw_op *op);

#endif
