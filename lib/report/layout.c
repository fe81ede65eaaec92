// SPDX-License-Identifier: GPL-3.0-or-later
//
// From a chart's meaning to a display list. Laid out once, in millimetres, with one estimate of how
// wide text is, so that a page and a print show the same picture and no two labels overlap.
#include "base/list.h"
#include "base/text.h"
#include "base/unit.h"
#include "base/utf8.h"
#include "report/chart.h"
#include "report/scale.h"

#include <assert.h>
#include <stdint.h>

#define TEXT_MM       2.6
#define ROW_MM        4.2
#define NAMES_MOST_MM 24.0
#define DECIMATION_MM 0.25
#define TICK_MM       1.2
#define EDGE_MM       1.0
#define LEGEND_GAP_MM 5.0
#define SAMPLE_MM     6.0
#define LABEL_ROOM    512

// Data keep this share of their range clear of the ends of the axis.
#define EDGE_SHARE 0.03

struct plot {
    const struct lw_chart *chart;
    struct lw_display_list *list;
    struct lw_scale x, y;
    double left, right, top, bottom; // the frame
    bool failed;
};

static double number_at(const struct lw_list *list, size_t index)
{
    return ((const double *)list->items)[index];
}

// Advance of a character as a share of the text's height: the widest of its class in DejaVu Sans, a
// wide face, so that the estimate holds for narrower ones too.
static double advance(uint32_t code)
{
    if (code >= 0x80) {
        char bytes[5] = {0};
        lw_utf8_encode(code, bytes);
        size_t columns = lw_text_columns(bytes);
        return columns == 0 ? 0 : columns == 1 ? 0.8 : 1.05;
    }
    if (strchr("MWmw@%&<>+=~#^", (int)code) != NULL) {
        return 1;
    }
    if (code >= 'A' && code <= 'Z') {
        return 0.79;
    }
    return strchr(" ,.:;!'|/\\()[]-iIjltfr", (int)code) != NULL ? 0.42 : 0.64;
}

double lw_text_em(const char *text)
{
    double sum = 0;
    for (size_t i = 0, count = strlen(text); i < count;) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(text + i, count - i, &code);
        sum += taken == 0 ? 1 : advance(code);
        i += taken == 0 ? 1 : taken;
    }
    return sum;
}

static double text_mm(const char *text)
{
    return lw_text_em(text) * TEXT_MM;
}

struct lw_box lw_op_box(const struct lw_op *op)
{
    if (op->kind == LW_OP_DOT) {
        double r = op->size_mm / 2;
        return (struct lw_box){op->x - r, op->y - r, op->x + r, op->y + r};
    }
    if (op->kind != LW_OP_TEXT) {
        return (struct lw_box){fmin(op->x, op->x2), fmin(op->y, op->y2), fmax(op->x, op->x2),
                               fmax(op->y, op->y2)};
    }
    double width = lw_text_em(op->text) * op->size_mm;
    double before = op->anchor < 0 ? 0 : op->anchor == 0 ? width / 2 : width;
    double rise = 0.8 * op->size_mm, fall = 0.25 * op->size_mm;
    if (op->upright) {
        return (struct lw_box){op->x - rise, op->y + before - width, op->x + fall, op->y + before};
    }
    return (struct lw_box){op->x - before, op->y - rise, op->x - before + width, op->y + fall};
}

static bool overlap(const struct lw_box *a, const struct lw_box *b)
{
    return a->left < b->right && b->left < a->right && a->top < b->bottom && b->top < a->bottom;
}

static void add(struct plot *plot, struct lw_op op)
{
    struct lw_op *kept = plot->failed ? NULL : lw_list_add(&plot->list->ops, sizeof *kept);
    if (kept == NULL) {
        plot->failed = true;
        return;
    }
    if (op.text != NULL) {
        op.text = lw_duplicate(op.text);
        plot->failed = op.text == NULL;
    }
    *kept = op;
}

static void add_line(struct plot *plot, enum lw_ink ink, double x, double y, double x2, double y2)
{
    add(plot, (struct lw_op){.kind = LW_OP_LINE, .ink = ink, .x = x, .y = y, .x2 = x2, .y2 = y2});
}

static void add_dot(struct plot *plot, enum lw_ink ink, double x, double y, double size_mm)
{
    add(plot, (struct lw_op){.kind = LW_OP_DOT, .ink = ink, .x = x, .y = y, .size_mm = size_mm});
}

static struct lw_op text_op(enum lw_ink ink, double x, double y, int anchor, const char *text)
{
    return (struct lw_op){.kind = LW_OP_TEXT,
                          .ink = ink,
                          .x = x,
                          .y = y,
                          .size_mm = TEXT_MM,
                          .anchor = anchor,
                          .text = (char *)text};
}

// Whether a text stays on the sheet and clear of every text before it.
static bool is_free(const struct plot *plot, const struct lw_op *op)
{
    struct lw_box box = lw_op_box(op);
    if (box.left < 0 || box.top < 0 || box.right > plot->list->width_mm ||
        box.bottom > plot->list->height_mm) {
        return false;
    }
    const struct lw_op *ops = plot->list->ops.items;
    for (size_t i = 0; i < plot->list->ops.count; i++) {
        struct lw_box other = lw_op_box(&ops[i]);
        if (ops[i].kind == LW_OP_TEXT && overlap(&box, &other)) {
            return false;
        }
    }
    return true;
}

static bool add_text_if_free(struct plot *plot, struct lw_op op)
{
    bool is = !plot->failed && is_free(plot, &op);
    if (is) {
        add(plot, op);
    }
    return is;
}

// The text cut to a width, with an ellipsis where something is missing.
static void fit_text(char to[LABEL_ROOM], const char *text, double most_mm)
{
    if (text_mm(text) <= most_mm) {
        lw_copy(to, LABEL_ROOM, text);
        return;
    }
    size_t length = 0;
    for (size_t i = 0, count = strlen(text); i < count;) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(text + i, count - i, &code);
        taken = taken == 0 ? 1 : taken;
        char next[LABEL_ROOM];
        if (!lw_print(next, sizeof next, "%.*s\xe2\x80\xa6", (int)(i + taken), text) ||
            text_mm(next) > most_mm) {
            break;
        }
        i += taken;
        length = i;
    }
    lw_print(to, LABEL_ROOM, "%.*s\xe2\x80\xa6", (int)length, text);
}

static void axis_title(const struct lw_axis *axis, char text[LABEL_ROOM])
{
    const char *label = axis->label == NULL ? "" : axis->label;
    if (axis->unit == NULL) {
        lw_print(text, LABEL_ROOM, "%s", label);
    } else {
        lw_print(text, LABEL_ROOM, "%s in %s", label, lw_unit_shown(axis->unit, true));
    }
}

// ---- ranges

struct range {
    double low, high;
    bool none; // a logarithmic axis has a value of 0, which stands at its foot
};

static void include(struct range *range, double value, bool logarithmic)
{
    range->none = range->none || (logarithmic && value <= 0);
    if (isfinite(value) && (!logarithmic || value > 0)) {
        range->low = fmin(range->low, value);
        range->high = fmax(range->high, value);
    }
}

static const struct lw_chart_series *series_at(const struct lw_chart *chart, size_t index)
{
    return &((const struct lw_chart_series *)chart->series.items)[index];
}

static bool has_bars(const struct lw_chart *chart)
{
    for (size_t i = 0; i < chart->series.count; i++) {
        if (series_at(chart, i)->shape == LW_SHAPE_BARS) {
            return true;
        }
    }
    return false;
}

// Smallest distance between neighbouring x values of a series, 1 when it has fewer than two.
static double x_spacing(const struct lw_chart_series *series)
{
    double least = INFINITY;
    for (size_t i = 1; i < series->x.count; i++) {
        double distance = fabs(number_at(&series->x, i) - number_at(&series->x, i - 1));
        least = distance > 0 ? fmin(least, distance) : least;
    }
    return isfinite(least) ? least : 1;
}

static bool y_range(const struct lw_chart *chart, struct range *range)
{
    bool logarithmic = chart->y.logarithmic;
    *range = (struct range){INFINITY, -INFINITY, false};
    for (size_t i = 0; i < chart->series.count; i++) {
        const struct lw_chart_series *series = series_at(chart, i);
        for (size_t k = 0; k < series->y.count; k++) {
            include(range, number_at(&series->y, k), logarithmic);
            include(range, number_at(&series->y_low, k), logarithmic);
            include(range, number_at(&series->y_high, k), logarithmic);
        }
    }
    if (range->low > range->high) {
        return false;
    }
    for (size_t i = 0; i < chart->limits.count; i++) {
        include(range, ((struct lw_chart_limit *)chart->limits.items)[i].at, logarithmic);
    }
    for (size_t i = 0; i < chart->marks.count; i++) {
        include(range, ((struct lw_chart_mark *)chart->marks.items)[i].y, logarithmic);
    }
    return true;
}

static void choose_y(struct plot *plot, struct range range)
{
    const struct lw_axis *axis = &plot->chart->y;
    bool near_zero = range.low >= 0 && range.low < 0.4 * range.high;
    if (!axis->logarithmic && (has_bars(plot->chart) || near_zero)) {
        range.low = fmin(0, range.low);
    }
    range.low = range.none ? range.low / 10 : range.low;
    if (axis->logarithmic) {
        range.low /= 1 + EDGE_SHARE;
        range.high *= 1 + EDGE_SHARE;
    } else {
        double clear = EDGE_SHARE * (range.high - range.low);
        range.low -= range.low == 0 ? 0 : clear;
        range.high += clear;
    }
    range.low = isfinite(axis->low) ? axis->low : range.low;
    range.high = isfinite(axis->high) ? axis->high : range.high;
    size_t wanted = (size_t)fmax(2, (plot->list->height_mm - 25) / 9);
    lw_scale_choose(&plot->y, range.low, range.high, axis->logarithmic,
                    isfinite(axis->low) && isfinite(axis->high), wanted);
}

static void choose_x(struct plot *plot)
{
    const struct lw_axis *axis = &plot->chart->x;
    if (axis->names.count > 0) {
        plot->x = (struct lw_scale){.low = 0.5, .high = (double)axis->names.count + 0.5};
        return;
    }
    struct range range = {INFINITY, -INFINITY, false};
    for (size_t i = 0; i < plot->chart->series.count; i++) {
        const struct lw_chart_series *series = series_at(plot->chart, i);
        double pad = series->shape == LW_SHAPE_BARS ? x_spacing(series) / 2 : 0;
        for (size_t k = 0; k < series->x.count; k++) {
            include(&range, number_at(&series->x, k) - pad, axis->logarithmic);
            include(&range, number_at(&series->x, k) + pad, axis->logarithmic);
        }
    }
    range.low = isfinite(axis->low) ? axis->low : range.low;
    range.high = isfinite(axis->high) ? axis->high : range.high;
    size_t wanted = (size_t)fmax(2, plot->list->width_mm / 22);
    lw_scale_choose(&plot->x, range.low, range.high, axis->logarithmic, true, wanted);
}

// ---- the frame around the data

// Names along the x axis: flat when they fit, upright when that lets every one stand, else every
// so many.
struct naming {
    bool upright;
    size_t stride;
    double longest_mm; // after cutting
};

static struct naming choose_naming(const struct lw_list *names, double width_mm)
{
    struct naming naming = {.stride = 1};
    for (size_t i = 0; i < names->count; i++) {
        double mm = fmin(text_mm(((char **)names->items)[i]), NAMES_MOST_MM);
        naming.longest_mm = fmax(naming.longest_mm, mm);
    }
    double slot = width_mm / (double)names->count;
    if (naming.longest_mm + 1 <= slot) {
        return naming;
    }
    if (slot >= TEXT_MM * 1.15) {
        naming.upright = true;
        return naming;
    }
    static const size_t strides[] = {2, 5, 10, 20, 50, 100, 200, 500, 1000};
    size_t i = 0;
    while (i + 1 < sizeof strides / sizeof *strides &&
           (double)strides[i] * slot < naming.longest_mm + 1.5) {
        i++;
    }
    naming.stride = strides[i];
    return naming;
}

static void draw_names(struct plot *plot, const struct naming *naming)
{
    const struct lw_list *names = &plot->chart->x.names;
    for (size_t i = 0; i < names->count; i++) {
        bool stands = i == 0 || (i + 1) % naming->stride == 0;
        double x = lw_scale_mm(&plot->x, (double)i + 1);
        if (!stands) {
            continue;
        }
        char text[LABEL_ROOM];
        fit_text(text, ((char **)names->items)[i], NAMES_MOST_MM);
        struct lw_op op = text_op(LW_INK_TEXT, x, plot->bottom + TICK_MM + TEXT_MM, 0, text);
        if (naming->upright) {
            op = text_op(LW_INK_TEXT, x + 0.35 * TEXT_MM, plot->bottom + TICK_MM + 0.5, 1, text);
            op.upright = true;
        }
        if (add_text_if_free(plot, op)) {
            add_line(plot, LW_INK_FRAME, x, plot->bottom, x, plot->bottom + TICK_MM);
        }
    }
}

static void draw_x_ticks(struct plot *plot)
{
    for (size_t i = 0; i < plot->x.tick_count; i++) {
        double x = lw_scale_mm(&plot->x, plot->x.ticks[i]);
        char text[LW_TICK_TEXT];
        lw_scale_tick_text(&plot->x, i, text);
        add_line(plot, LW_INK_GRID, x, plot->top, x, plot->bottom);
        add_line(plot, LW_INK_FRAME, x, plot->bottom, x, plot->bottom + TICK_MM);
        add_text_if_free(plot, text_op(LW_INK_TEXT, x, plot->bottom + TICK_MM + TEXT_MM, 0, text));
    }
}

static void draw_y_ticks(struct plot *plot)
{
    for (size_t i = 0; i < plot->y.tick_count; i++) {
        double y = lw_scale_mm(&plot->y, plot->y.ticks[i]);
        char text[LW_TICK_TEXT];
        lw_scale_tick_text(&plot->y, i, text);
        add_line(plot, LW_INK_GRID, plot->left, y, plot->right, y);
        add_line(plot, LW_INK_FRAME, plot->left - TICK_MM, y, plot->left, y);
        add_text_if_free(
            plot, text_op(LW_INK_TEXT, plot->left - TICK_MM - 0.6, y + 0.35 * TEXT_MM, 1, text));
    }
}

static double y_ticks_mm(const struct lw_scale *scale)
{
    double longest = 0;
    for (size_t i = 0; i < scale->tick_count; i++) {
        char text[LW_TICK_TEXT];
        lw_scale_tick_text(scale, i, text);
        longest = fmax(longest, text_mm(text));
    }
    return longest;
}

static void draw_sample(struct plot *plot, const struct lw_chart_series *series, double x, double y)
{
    double middle = y - 0.35 * TEXT_MM;
    if (series->shape == LW_SHAPE_BARS) {
        add(plot, (struct lw_op){.kind = LW_OP_RECT,
                                 .ink = series->ink,
                                 .x = x + 1,
                                 .y = middle - 1,
                                 .x2 = x + SAMPLE_MM - 1,
                                 .y2 = middle + 1});
    } else if (series->shape == LW_SHAPE_LINE || series->shape == LW_SHAPE_STEPS) {
        add_line(plot, series->ink, x, middle, x + SAMPLE_MM, middle);
    } else {
        add_dot(plot, series->ink, x + SAMPLE_MM / 2, middle, 1.6);
    }
    if (series->shape == LW_SHAPE_INTERVALS) {
        add_line(plot, series->ink, x + SAMPLE_MM / 2, middle - 1.5, x + SAMPLE_MM / 2,
                 middle + 1.5);
    }
}

// Writes the legend from `top` on and returns where it ends. Lines are broken between entries.
static double draw_legend(struct plot *plot, double top)
{
    double x = EDGE_MM, y = top + TEXT_MM;
    for (size_t i = 0; i < plot->chart->series.count; i++) {
        const struct lw_chart_series *series = series_at(plot->chart, i);
        char text[LABEL_ROOM];
        fit_text(text, series->label, plot->list->width_mm - SAMPLE_MM - 3 * EDGE_MM);
        double width = SAMPLE_MM + 1 + text_mm(text);
        if (x > EDGE_MM && x + width > plot->list->width_mm - EDGE_MM) {
            x = EDGE_MM;
            y += ROW_MM;
        }
        draw_sample(plot, series, x, y);
        add(plot, text_op(LW_INK_TEXT, x + SAMPLE_MM + 1, y, -1, text));
        x += width + LEGEND_GAP_MM;
    }
    return y + 0.5 * TEXT_MM;
}

static void draw_frame(struct plot *plot)
{
    add_line(plot, LW_INK_FRAME, plot->left, plot->top, plot->left, plot->bottom);
    add_line(plot, LW_INK_FRAME, plot->left, plot->bottom, plot->right, plot->bottom);
}

// Heads and margins: afterwards both scales know where they stand.
static void lay_frame(struct plot *plot)
{
    double width = plot->list->width_mm, height = plot->list->height_mm;
    char title[LABEL_ROOM], text[LABEL_ROOM];
    axis_title(&plot->chart->y, title);
    fit_text(text, title, width - 2 * EDGE_MM);
    add(plot, text_op(LW_INK_TEXT, EDGE_MM, EDGE_MM + TEXT_MM, -1, text));
    plot->top = draw_legend(plot, EDGE_MM + ROW_MM) + 2.5;
    plot->left = EDGE_MM + y_ticks_mm(&plot->y) + TICK_MM + 0.6;
    plot->right = width - 2 * EDGE_MM;
    const struct lw_list *names = &plot->chart->x.names;
    struct naming naming = {0};
    if (names->count > 0) {
        naming = choose_naming(names, plot->right - plot->left);
    }
    double below = naming.upright ? naming.longest_mm + 1 : ROW_MM;
    plot->bottom = height - EDGE_MM - ROW_MM - below - TICK_MM;
    plot->x.from_mm = plot->left;
    plot->x.to_mm = plot->right;
    plot->y.from_mm = plot->bottom;
    plot->y.to_mm = plot->top;
    axis_title(&plot->chart->x, title);
    fit_text(text, title, plot->right - plot->left);
    add(plot,
        text_op(LW_INK_TEXT, (plot->left + plot->right) / 2, height - EDGE_MM - 0.6, 0, text));
    draw_y_ticks(plot);
    if (names->count > 0) {
        draw_names(plot, &naming);
    } else {
        draw_x_ticks(plot);
    }
    draw_frame(plot);
}

// ---- series

struct extreme {
    double x, y;
    size_t order;
};

// Draws a line point by point and keeps at most two points a column: the least and the greatest.
struct pen {
    struct plot *plot;
    enum lw_ink ink;
    bool down;
    double x, y;   // where the drawn line ends
    double column; // of the points that wait, NAN: none wait
    size_t waiting;
    struct extreme least, greatest;
};

static void pen_draw(struct pen *pen, const struct extreme *to)
{
    if (pen->down && (to->x != pen->x || to->y != pen->y)) {
        add_line(pen->plot, pen->ink, pen->x, pen->y, to->x, to->y);
    }
    pen->down = true;
    pen->x = to->x;
    pen->y = to->y;
}

static void pen_flush(struct pen *pen)
{
    if (isfinite(pen->column)) {
        bool rises = pen->least.order < pen->greatest.order;
        pen_draw(pen, rises ? &pen->least : &pen->greatest);
        pen_draw(pen, rises ? &pen->greatest : &pen->least);
    }
    pen->column = NAN;
    pen->waiting = 0;
}

static void pen_lift(struct pen *pen)
{
    pen_flush(pen);
    pen->down = false;
}

static void pen_to(struct pen *pen, double x, double y)
{
    double column = floor((x - pen->plot->left) / DECIMATION_MM);
    if (column != pen->column) {
        pen_flush(pen);
        pen->column = column;
    }
    struct extreme here = {x, y, pen->waiting++};
    pen->least = here.order == 0 || y < pen->least.y ? here : pen->least;
    pen->greatest = here.order == 0 || y > pen->greatest.y ? here : pen->greatest;
}

static void draw_trace(struct plot *plot, const struct lw_chart_series *series)
{
    struct pen pen = {.plot = plot, .ink = series->ink, .column = NAN};
    for (size_t i = 0; i < series->x.count; i++) {
        double y = number_at(&series->y, i);
        if (isfinite(y)) {
            pen_to(&pen, lw_scale_mm(&plot->x, number_at(&series->x, i)), lw_scale_mm(&plot->y, y));
        } else {
            pen_lift(&pen);
        }
    }
    pen_flush(&pen);
}

// Levels without risers: where neighbours differ all along the chain, risers would be all one sees.
static void draw_steps(struct plot *plot, const struct lw_chart_series *series)
{
    double half = x_spacing(series) / 2;
    double before_x = NAN;
    for (size_t i = 0; i < series->x.count; i++) {
        double value = number_at(&series->y, i);
        if (!isfinite(value)) {
            continue;
        }
        double x = number_at(&series->x, i), y = lw_scale_mm(&plot->y, value);
        double from = lw_scale_mm(&plot->x, x - half), to = lw_scale_mm(&plot->x, x + half);
        from = fabs(before_x - from) < 1e-6 ? before_x : from;
        add_line(plot, series->ink, from, y, to, y);
        before_x = to;
    }
}

// Room for one category or one step of x, mm.
static double slot_mm(const struct plot *plot, const struct lw_chart_series *series)
{
    double spacing = x_spacing(series);
    return spacing / (plot->x.high - plot->x.low) * (plot->right - plot->left);
}

static void draw_interval(struct plot *plot, const struct lw_chart_series *series, size_t i,
                          double slot)
{
    double low = number_at(&series->y_low, i), high = number_at(&series->y_high, i);
    if (!isfinite(low) || !isfinite(high)) {
        return;
    }
    double x = lw_scale_mm(&plot->x, number_at(&series->x, i));
    double y_low = lw_scale_mm(&plot->y, low), y_high = lw_scale_mm(&plot->y, high);
    add_line(plot, series->ink, x, y_low, x, y_high);
    if (slot >= 1.6) {
        double cap = fmin(0.8, slot * 0.3);
        add_line(plot, series->ink, x - cap, y_low, x + cap, y_low);
        add_line(plot, series->ink, x - cap, y_high, x + cap, y_high);
    }
}

static void draw_dots(struct plot *plot, const struct lw_chart_series *series)
{
    double slot = slot_mm(plot, series);
    double diameter = fmin(1.6, fmax(1.0, slot * 0.8));
    for (size_t i = 0; i < series->x.count; i++) {
        double y = number_at(&series->y, i);
        if (series->shape == LW_SHAPE_INTERVALS) {
            draw_interval(plot, series, i, slot);
        }
        if (isfinite(y)) {
            add_dot(plot, series->ink, lw_scale_mm(&plot->x, number_at(&series->x, i)),
                    lw_scale_mm(&plot->y, y), diameter);
        }
    }
}

static void draw_bars(struct plot *plot, const struct lw_chart_series *series)
{
    double half = slot_mm(plot, series) * 0.36;
    double base = plot->y.logarithmic ? plot->bottom : lw_scale_mm(&plot->y, 0);
    for (size_t i = 0; i < series->x.count; i++) {
        double value = number_at(&series->y, i);
        double x = lw_scale_mm(&plot->x, number_at(&series->x, i));
        if (isfinite(value)) {
            double y = lw_scale_mm(&plot->y, value);
            add(plot, (struct lw_op){.kind = LW_OP_RECT,
                                     .ink = series->ink,
                                     .x = x - half,
                                     .y = fmin(y, base),
                                     .x2 = x + half,
                                     .y2 = fmax(y, base)});
        }
    }
}

static void draw_series(struct plot *plot, const struct lw_chart_series *series)
{
    switch (series->shape) {
    case LW_SHAPE_LINE:
        draw_trace(plot, series);
        break;
    case LW_SHAPE_STEPS:
        draw_steps(plot, series);
        break;
    case LW_SHAPE_BARS:
        draw_bars(plot, series);
        break;
    case LW_SHAPE_DOTS:
    case LW_SHAPE_INTERVALS:
        draw_dots(plot, series);
        break;
    }
}

// ---- limits and marks

// Looks for a place along the line, right end first, on the allowed side and then on the other.
static void label_limit(struct plot *plot, const struct lw_chart_limit *limit, double y)
{
    enum { PLACES = 8 };
    char text[LABEL_ROOM];
    fit_text(text, limit->label, plot->right - plot->left);
    double width = text_mm(text);
    double above = y - 0.9, below = y + 0.8 * TEXT_MM + 0.9;
    for (int side = 0; side < 2; side++) {
        double at = (side == 0) == limit->upper ? above : below;
        for (int place = 0; place < PLACES; place++) {
            double x = plot->right - (plot->right - plot->left - width) * place / (PLACES - 1);
            if (at - TEXT_MM < plot->top - 2.5 || at > plot->bottom) {
                continue;
            }
            if (add_text_if_free(plot, text_op(LW_INK_LIMIT, x, at, 1, text))) {
                return;
            }
        }
    }
}

static void draw_limits(struct plot *plot)
{
    const struct lw_chart_limit *limits = plot->chart->limits.items;
    for (size_t i = 0; i < plot->chart->limits.count; i++) {
        if (plot->y.logarithmic && limits[i].at <= 0) {
            continue;
        }
        double y = lw_scale_mm(&plot->y, limits[i].at);
        add_line(plot, LW_INK_LIMIT, plot->left, y, plot->right, y);
        label_limit(plot, &limits[i], y);
    }
}

static void label_mark(struct plot *plot, const char *label, double x, double y)
{
    char text[LABEL_ROOM];
    fit_text(text, label, (plot->right - plot->left) / 2);
    const double dx[] = {2, -2, 2, -2, 0, 0, 2, -2};
    const double dy[] = {-1, -1, 3, 3, -2.2, 4.2, -5, -5};
    for (size_t i = 0; i < sizeof dx / sizeof *dx; i++) {
        int anchor = dx[i] > 0 ? -1 : dx[i] < 0 ? 1 : 0;
        if (y + dy[i] - TEXT_MM < plot->top - 2.5 || y + dy[i] > plot->bottom) {
            continue;
        }
        if (add_text_if_free(plot, text_op(LW_INK_MARK, x + dx[i], y + dy[i], anchor, text))) {
            return;
        }
    }
}

static void draw_marks(struct plot *plot)
{
    const struct lw_chart_mark *marks = plot->chart->marks.items;
    for (size_t i = 0; i < plot->chart->marks.count; i++) {
        double x = lw_scale_mm(&plot->x, marks[i].x), y = lw_scale_mm(&plot->y, marks[i].y);
        add_dot(plot, LW_INK_MARK, x, y, 2.8);
        label_mark(plot, marks[i].label, x, y);
    }
}

enum lw_status lw_chart_layout(const struct lw_chart *chart, double width_mm, double height_mm,
                               struct lw_display_list *list, struct lw_error *error)
{
    assert(width_mm >= 60 && height_mm >= 40);
    *list = (struct lw_display_list){.width_mm = width_mm, .height_mm = height_mm};
    struct plot plot = {.chart = chart, .list = list};
    struct range range;
    if (!y_range(chart, &range)) {
        return lw_fail(error, LW_GARBLED, "nothing finite to draw");
    }
    choose_y(&plot, range);
    choose_x(&plot);
    lay_frame(&plot);
    for (size_t i = 0; i < chart->series.count; i++) {
        draw_series(&plot, series_at(chart, i));
    }
    draw_limits(&plot);
    draw_marks(&plot);
    if (plot.failed) {
        lw_display_list_finish(list);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    return LW_OK;
}

void lw_display_list_finish(struct lw_display_list *list)
{
    struct lw_op *ops = list->ops.items;
    for (size_t i = 0; i < list->ops.count; i++) {
        free(ops[i].text);
    }
    free(ops);
    *list = (struct lw_display_list){0};
}
