// SPDX-License-Identifier: GPL-3.0-or-later
//
// Photographs on sheets: two beside each other, each with its caption, none cut. A sheet keeps the
// place; the picture itself is drawn when the sheets are bound, since a recorded one would be held
// as points. A JPEG goes into the file as it is (DCTDecode), points never exist.
#include "report/sheet.h"
#include "report/words.h"

#define GAP_PT         14.0
#define HIGHEST_PT     (80 * LW_MM)
#define PT_FOR_PX      0.75 // 96 points of a picture to an inch, as browsers take them
#define BELOW_PT       8.0
#define CAPTION_GAP_PT 2.0

static const struct lw_style_pt caption_style = {8.5, false, false, 0x1b1f23};
static const struct lw_style_pt source_style = {7.4, false, false, 0x4a5058};

static const struct lw_picture *picture_at(const struct lw_document_block *block, size_t index)
{
    return &((const struct lw_picture *)block->pictures.items)[index];
}

static double column_width(const struct lw_sheets *sheets)
{
    return (sheets->right - sheets->left - GAP_PT) / 2;
}

// Points for one of the picture's: never larger than it is, and within its column and height.
static double scale_of(const struct lw_sheets *sheets, const struct lw_picture *picture)
{
    double by_width = column_width(sheets) / lw_picture_width_px(picture);
    double by_height = HIGHEST_PT / lw_picture_height_px(picture);
    return fmin(PT_FOR_PX, fmin(by_width, by_height));
}

static double text_height(struct lw_sheets *sheets, const struct lw_style_pt *style,
                          const char *text)
{
    PangoLayout *layout = lw_sheets_set(sheets, style, text, column_width(sheets));
    double height = lw_layout_height(layout);
    g_object_unref(layout);
    return height;
}

static double put_text(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                       double x, double y)
{
    PangoLayout *layout = lw_sheets_set(sheets, style, text, column_width(sheets));
    double height = lw_layout_height(layout);
    lw_sheets_show(sheets, layout, x, y, style->colour);
    g_object_unref(layout);
    return height;
}

static double picture_height(struct lw_sheets *sheets, const struct lw_picture *picture)
{
    return lw_picture_height_px(picture) * scale_of(sheets, picture) + CAPTION_GAP_PT +
           text_height(sheets, &caption_style, picture->caption) +
           text_height(sheets, &source_style, picture->source) + BELOW_PT;
}

static double row_height(struct lw_sheets *sheets, const struct lw_document_block *block,
                         size_t first)
{
    double height = picture_height(sheets, picture_at(block, first));
    return first + 1 < block->pictures.count
               ? fmax(height, picture_height(sheets, picture_at(block, first + 1)))
               : height;
}

double lw_pdf_pictures_least(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    return row_height(sheets, block, 0) + 6;
}

static void place(struct lw_sheets *sheets, const struct lw_picture *picture, double x)
{
    struct lw_placed_picture *placed = lw_list_add(&sheets->pictures, sizeof *placed);
    double scale = scale_of(sheets, picture), y = sheets->y;
    if (placed == NULL) {
        sheets->failed = true;
        return;
    }
    *placed = (struct lw_placed_picture){.picture = picture,
                                         .page = sheets->pages.count,
                                         .x = x,
                                         .y = y,
                                         .width = lw_picture_width_px(picture) * scale,
                                         .height = lw_picture_height_px(picture) * scale};
    y += placed->height + CAPTION_GAP_PT;
    y += put_text(sheets, &caption_style, picture->caption, x, y);
    put_text(sheets, &source_style, picture->source, x, y);
}

void lw_pdf_pictures(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    lw_sheets_skip(sheets, 6);
    for (size_t i = 0; i < block->pictures.count; i += 2) {
        double height = row_height(sheets, block, i);
        lw_sheets_need(sheets, height);
        place(sheets, picture_at(block, i), sheets->left);
        if (i + 1 < block->pictures.count) {
            place(sheets, picture_at(block, i + 1), sheets->left + column_width(sheets) + GAP_PT);
        }
        sheets->y += height;
    }
}

// ---- when sheets are bound

struct reading {
    const struct lw_picture *picture;
    size_t at;
};

static cairo_status_t read_bytes(void *closure, unsigned char *to, unsigned count)
{
    struct reading *reading = closure;
    if (count > reading->picture->length - reading->at) {
        return CAIRO_STATUS_READ_ERROR;
    }
    memcpy(to, reading->picture->bytes + reading->at, count);
    reading->at += count;
    return CAIRO_STATUS_SUCCESS;
}

// The surface of a JPEG stays empty memory that nobody touches: its bytes stand for it.
static cairo_surface_t *surface_of(const struct lw_picture *picture)
{
    if (picture->png) {
        struct reading reading = {picture, 0};
        return cairo_image_surface_create_from_png_stream(read_bytes, &reading);
    }
    cairo_surface_t *surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, picture->width_px, picture->height_px);
    cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG,
                                (const unsigned char *)picture->bytes, picture->length, NULL, NULL);
    return surface;
}

// From the stored picture's square to the upright one, both of side 1 (CIPA DC-008, Orientation).
static void turn(cairo_t *cr, int orientation)
{
    static const cairo_matrix_t turns[] = {
        {1, 0, 0, 1, 0, 0}, {-1, 0, 0, 1, 1, 0}, {-1, 0, 0, -1, 1, 1}, {1, 0, 0, -1, 0, 1},
        {0, 1, 1, 0, 0, 0}, {0, 1, -1, 0, 1, 0}, {0, -1, -1, 0, 1, 1}, {0, -1, 1, 0, 0, 1}};
    cairo_transform(cr, &turns[orientation - 1]);
}

// What a library cannot read though its check sums are right.
static void draw_unreadable(struct lw_sheets *sheets, const struct lw_placed_picture *placed)
{
    put_text(sheets, &caption_style, _("This picture cannot be drawn: it is damaged."), placed->x,
             placed->y);
}

static void draw(struct lw_sheets *sheets, const struct lw_placed_picture *placed)
{
    const struct lw_picture *picture = placed->picture;
    cairo_t *cr = sheets->cr;
    cairo_surface_t *surface = surface_of(picture);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS) {
        draw_unreadable(sheets, placed);
        cairo_surface_destroy(surface);
        return;
    }
    cairo_save(cr);
    cairo_translate(cr, placed->x, placed->y);
    cairo_scale(cr, placed->width, placed->height);
    turn(cr, picture->orientation);
    cairo_scale(cr, 1.0 / picture->width_px, 1.0 / picture->height_px);
    cairo_set_source_surface(cr, surface, 0, 0);
    cairo_paint(cr);
    cairo_restore(cr);
    cairo_surface_destroy(surface);
}

void lw_pdf_draw_pictures(struct lw_sheets *sheets, size_t page)
{
    const struct lw_placed_picture *placed = sheets->pictures.items;
    for (size_t i = 0; i < sheets->pictures.count; i++) {
        if (placed[i].page == page) {
            draw(sheets, &placed[i]);
        }
    }
}
