// SPDX-License-Identifier: GPL-3.0-or-later
//
// Sheets. Each page is recorded and replayed at the end, when the number of pages is known: text is
// shaped once.
#include "report/sheet.h"

#include "base/text.h"

static const char text_family[] = "DejaVu Sans";
static const char mono_family[] = "DejaVu Sans Mono";

#ifdef __SANITIZE_ADDRESS__
// Fontconfig drops a few hundred bytes of its configuration at the end of every program.
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig";
}
#endif

static void begin_page(struct lw_sheets *sheets)
{
    cairo_rectangle_t extents = {0, 0, sheets->width, sheets->height};
    cairo_surface_t **page = lw_list_add(&sheets->pages, sizeof(cairo_surface_t *));
    if (page == NULL) {
        sheets->failed = true;
        return;
    }
    *page = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, &extents);
    if (sheets->cr != NULL) {
        cairo_destroy(sheets->cr);
    }
    sheets->cr = cairo_create(*page);
    sheets->y = sheets->top;
    sheets->fresh = true;
}

void lw_sheets_begin(struct lw_sheets *sheets, double width, double height)
{
    *sheets = (struct lw_sheets){.width = width,
                                 .height = height,
                                 .left = 15 * LW_MM,
                                 .right = width - 15 * LW_MM,
                                 .top = 18 * LW_MM,
                                 .bottom = height - 18 * LW_MM};
    begin_page(sheets);
    sheets->fonts = pango_cairo_font_map_new();
    sheets->context = pango_font_map_create_context(sheets->fonts);
    // one unit of the file is one point: hinting for a screen would only push letters about
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(sheets->context, options);
    pango_cairo_context_set_resolution(sheets->context, 72);
    pango_context_set_round_glyph_positions(sheets->context, FALSE);
    pango_context_set_base_dir(sheets->context, PANGO_DIRECTION_LTR);
    cairo_font_options_destroy(options);
    // a serial broken over two lines must not gain a hyphen
    sheets->no_hyphens = pango_attr_list_new();
    pango_attr_list_insert(sheets->no_hyphens, pango_attr_insert_hyphens_new(FALSE));
}

void lw_sheets_finish(struct lw_sheets *sheets)
{
    for (size_t i = 0; i < sheets->pages.count; i++) {
        cairo_surface_destroy(((cairo_surface_t **)sheets->pages.items)[i]);
    }
    for (size_t i = 0; i < sheets->bookmarks.count; i++) {
        free(((struct lw_bookmark *)sheets->bookmarks.items)[i].text);
    }
    free(sheets->pages.items);
    free(sheets->bookmarks.items);
    free(sheets->pictures.items);
    pango_attr_list_unref(sheets->no_hyphens);
    g_object_unref(sheets->context);
    g_object_unref(sheets->fonts);
    cairo_destroy(sheets->cr);
    *sheets = (struct lw_sheets){0};
}

void lw_sheets_page(struct lw_sheets *sheets)
{
    if (!sheets->fresh) {
        begin_page(sheets);
    }
}

void lw_sheets_need(struct lw_sheets *sheets, double height)
{
    if (sheets->y + height > sheets->bottom) {
        lw_sheets_page(sheets);
    }
}

void lw_sheets_skip(struct lw_sheets *sheets, double height)
{
    sheets->y += sheets->fresh ? 0 : height;
}

void lw_sheets_bookmark(struct lw_sheets *sheets, const char *text, int level)
{
    struct lw_bookmark *bookmark = lw_list_add(&sheets->bookmarks, sizeof *bookmark);
    char *kept = lw_duplicate(text);
    if (bookmark == NULL || kept == NULL) {
        free(kept);
        sheets->failed = true;
        return;
    }
    *bookmark = (struct lw_bookmark){kept, level, (int)sheets->pages.count, sheets->y};
}

void lw_sheets_colour(struct lw_sheets *sheets, unsigned colour)
{
    cairo_set_source_rgb(sheets->cr, (colour >> 16 & 255) / 255.0, (colour >> 8 & 255) / 255.0,
                         (colour & 255) / 255.0);
}

void lw_sheets_line(struct lw_sheets *sheets, double x, double y, double x2, double y2,
                    double width, unsigned colour)
{
    lw_sheets_colour(sheets, colour);
    cairo_set_line_width(sheets->cr, width);
    cairo_move_to(sheets->cr, x, y);
    cairo_line_to(sheets->cr, x2, y2);
    cairo_stroke(sheets->cr);
    sheets->fresh = false;
}

PangoLayout *lw_sheets_set(struct lw_sheets *sheets, const struct lw_style_pt *style,
                           const char *text, double width)
{
    PangoLayout *layout = pango_layout_new(sheets->context);
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, style->mono ? mono_family : text_family);
    pango_font_description_set_absolute_size(font, style->size_pt * PANGO_SCALE);
    pango_font_description_set_weight(font, style->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_attributes(layout, sheets->no_hyphens);
    pango_layout_set_auto_dir(layout, FALSE);
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_width(layout, width > 0 ? (int)(width * PANGO_SCALE) : -1);
    pango_layout_set_text(layout, text, -1);
    return layout;
}

double lw_layout_height(PangoLayout *layout)
{
    int width, height;
    pango_layout_get_size(layout, &width, &height);
    return (double)height / PANGO_SCALE;
}

double lw_layout_width(PangoLayout *layout)
{
    int width, height;
    pango_layout_get_size(layout, &width, &height);
    return (double)width / PANGO_SCALE;
}

void lw_sheets_show(struct lw_sheets *sheets, PangoLayout *layout, double x, double y,
                    unsigned colour)
{
    lw_sheets_colour(sheets, colour);
    cairo_move_to(sheets->cr, x, y);
    pango_cairo_show_layout(sheets->cr, layout);
    sheets->fresh = false;
}

static void show_line(struct lw_sheets *sheets, PangoLayoutLine *line, double x, unsigned colour)
{
    PangoRectangle box;
    pango_layout_line_get_extents(line, NULL, &box);
    double height = (double)box.height / PANGO_SCALE;
    if (sheets->y + height > sheets->bottom) {
        lw_sheets_page(sheets);
    }
    lw_sheets_colour(sheets, colour);
    cairo_move_to(sheets->cr, x, sheets->y - (double)box.y / PANGO_SCALE);
    pango_cairo_show_layout_line(sheets->cr, line);
    sheets->y += height;
    sheets->fresh = false;
}

void lw_sheets_flow(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                    double indent)
{
    PangoLayout *layout = lw_sheets_set(sheets, style, text, sheets->right - sheets->left - indent);
    for (GSList *line = pango_layout_get_lines_readonly(layout); line != NULL; line = line->next) {
        show_line(sheets, line->data, sheets->left + indent, style->colour);
    }
    g_object_unref(layout);
}
