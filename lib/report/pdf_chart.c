// SPDX-License-Identifier: GPL-3.0-or-later
//
// A display list on a sheet: the same millimetres as on the page.
#include "report/sheet.h"

struct drawing {
    struct lw_sheets *sheets;
    double x, y, scale; // of the list's origin; points for a millimetre
};

static const struct lw_style_pt caption = {9, true, false, 0x1b1f23};

static double at_x(const struct drawing *drawing, double mm)
{
    return drawing->x + mm * drawing->scale;
}

static double at_y(const struct drawing *drawing, double mm)
{
    return drawing->y + mm * drawing->scale;
}

static void use_ink(const struct drawing *drawing, enum lw_ink ink)
{
    const struct lw_ink_style *style = &lw_inks[ink];
    double dashes[2] = {style->dash_mm * drawing->scale, style->gap_mm * drawing->scale};
    lw_sheets_colour(drawing->sheets, style->light);
    cairo_set_line_width(drawing->sheets->cr, style->line_mm * drawing->scale);
    cairo_set_dash(drawing->sheets->cr, dashes, style->dash_mm > 0 ? 2 : 0, 0);
}

// Lines that meet are one path; returns the index behind the last one taken.
static size_t draw_path(const struct drawing *drawing, const struct lw_op *ops, size_t count,
                        size_t first)
{
    cairo_t *cr = drawing->sheets->cr;
    size_t i = first;
    use_ink(drawing, ops[first].ink);
    cairo_move_to(cr, at_x(drawing, ops[i].x), at_y(drawing, ops[i].y));
    do {
        cairo_line_to(cr, at_x(drawing, ops[i].x2), at_y(drawing, ops[i].y2));
        i++;
    } while (i < count && ops[i].kind == LW_OP_LINE && ops[i].ink == ops[i - 1].ink &&
             ops[i].x == ops[i - 1].x2 && ops[i].y == ops[i - 1].y2);
    cairo_stroke(cr);
    return i;
}

static void draw_dot(const struct drawing *drawing, const struct lw_op *op)
{
    cairo_t *cr = drawing->sheets->cr;
    use_ink(drawing, op->ink);
    cairo_new_sub_path(cr);
    cairo_arc(cr, at_x(drawing, op->x), at_y(drawing, op->y), op->size_mm / 2 * drawing->scale, 0,
              2 * G_PI);
    if (op->ink == LW_INK_MARK) {
        cairo_stroke(cr);
    } else {
        cairo_fill(cr);
    }
}

static void draw_rect(const struct drawing *drawing, const struct lw_op *op)
{
    use_ink(drawing, op->ink);
    cairo_rectangle(drawing->sheets->cr, at_x(drawing, op->x), at_y(drawing, op->y),
                    (op->x2 - op->x) * drawing->scale, (op->y2 - op->y) * drawing->scale);
    cairo_fill(drawing->sheets->cr);
}

// Labels of limits and marks stand among lines: paper around the letters keeps them legible.
static void draw_halo(const struct drawing *drawing, PangoLayout *layout, double x, double y)
{
    cairo_t *cr = drawing->sheets->cr;
    cairo_save(cr);
    lw_sheets_colour(drawing->sheets, 0xffffff);
    cairo_set_dash(cr, NULL, 0, 0);
    cairo_set_line_width(cr, 0.9 * drawing->scale);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_move_to(cr, x, y);
    pango_cairo_layout_path(cr, layout);
    cairo_stroke(cr);
    cairo_restore(cr);
}

static void draw_text(const struct drawing *drawing, const struct lw_op *op)
{
    cairo_t *cr = drawing->sheets->cr;
    struct lw_style_pt style = {op->size_mm * drawing->scale, false, false, lw_inks[op->ink].light};
    PangoLayout *layout = lw_sheets_set(drawing->sheets, &style, op->text, 0);
    double width = lw_layout_width(layout);
    double x = op->anchor < 0 ? 0 : op->anchor == 0 ? -width / 2 : -width;
    double y = -(double)pango_layout_get_baseline(layout) / PANGO_SCALE;
    cairo_save(cr);
    cairo_translate(cr, at_x(drawing, op->x), at_y(drawing, op->y));
    if (op->upright) {
        cairo_rotate(cr, -G_PI / 2);
    }
    if (op->ink == LW_INK_LIMIT || op->ink == LW_INK_MARK) {
        draw_halo(drawing, layout, x, y);
    }
    lw_sheets_show(drawing->sheets, layout, x, y, style.colour);
    cairo_restore(cr);
    g_object_unref(layout);
}

static void draw_ops(const struct drawing *drawing, const struct lw_op *ops, size_t count)
{
    for (size_t i = 0; i < count;) {
        switch (ops[i].kind) {
        case LW_OP_LINE:
            i = draw_path(drawing, ops, count, i);
            continue;
        case LW_OP_RECT:
            draw_rect(drawing, &ops[i]);
            break;
        case LW_OP_DOT:
            draw_dot(drawing, &ops[i]);
            break;
        case LW_OP_TEXT:
            draw_text(drawing, &ops[i]);
            break;
        }
        i++;
    }
    cairo_set_dash(drawing->sheets->cr, NULL, 0, 0);
}

void lw_pdf_display(struct lw_sheets *sheets, const struct lw_display_list *list, double x,
                    double y, double scale)
{
    struct drawing drawing = {sheets, x, y, scale};
    draw_ops(&drawing, list->ops.items, list->ops.count);
}

double lw_pdf_figure_height(const struct lw_sheets *sheets)
{
    double scale = (sheets->right - sheets->left) / LW_FIGURE_WIDTH_MM;
    return 24 + LW_FIGURE_HEIGHT_MM * scale;
}

enum lw_status lw_pdf_figure(struct lw_sheets *sheets, const struct lw_chart *chart,
                             struct lw_error *error)
{
    struct lw_display_list list;
    enum lw_status status =
        lw_chart_layout(chart, LW_FIGURE_WIDTH_MM, LW_FIGURE_HEIGHT_MM, &list, error);
    if (status != LW_OK) {
        return status;
    }
    lw_sheets_need(sheets, lw_pdf_figure_height(sheets));
    lw_sheets_skip(sheets, 8);
    lw_sheets_flow(sheets, &caption, chart->title, 0);
    sheets->y += 3;
    double scale = (sheets->right - sheets->left) / LW_FIGURE_WIDTH_MM;
    lw_pdf_display(sheets, &list, sheets->left, sheets->y, scale);
    sheets->y += LW_FIGURE_HEIGHT_MM * scale;
    lw_display_list_finish(&list);
    return LW_OK;
}
