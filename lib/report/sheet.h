// SPDX-License-Identifier: GPL-3.0-or-later
//
// The sheets that a PDF is drawn on: where the next line stands, when a new page begins, how text
// of a style is set. Private to lw_pdf.
#ifndef LW_REPORT_SHEET_H
#define LW_REPORT_SHEET_H

#include "report/chart.h"
#include "report/document.h"

#include <cairo.h>
#include <pango/pangocairo.h>

#define LW_MM (72.0 / 25.4) // one millimetre in points

// What the beginning of a table takes: its caption, a head of two lines and a row.
#define LW_PDF_TABLE_LEAST 70.0

struct lw_style_pt {
    double size_pt;
    bool bold, mono;
    unsigned colour; // 0xRRGGBB
};

struct lw_bookmark {
    char *text;
    int level, page;
    double y;
};

// Where a photograph is drawn when the sheets are bound; the picture is the document's.
struct lw_placed_picture {
    const struct lw_picture *picture;
    size_t page;                // from 1
    double x, y, width, height; // upright, points
};

struct lw_sheets {
    double width, height, left, right, top, bottom; // points
    double y;                                       // where the next block begins
    bool fresh;                                     // nothing stands on the page yet
    cairo_t *cr;                                    // of the page in the making
    PangoFontMap *fonts;
    PangoContext *context;
    PangoAttrList *no_hyphens;
    struct lw_list pages;     // of cairo_surface_t *, recordings
    struct lw_list bookmarks; // of struct lw_bookmark
    struct lw_list pictures;  // of struct lw_placed_picture
    bool failed;
};

void lw_sheets_begin(struct lw_sheets *sheets, double width, double height);
void lw_sheets_finish(struct lw_sheets *sheets);
void lw_sheets_page(struct lw_sheets *sheets); // a new page, unless this one is fresh
// A new page when less than `height` is left, and a whole page would have more.
void lw_sheets_need(struct lw_sheets *sheets, double height);
void lw_sheets_skip(struct lw_sheets *sheets, double height); // nothing at the top of a page
void lw_sheets_bookmark(struct lw_sheets *sheets, const char *text, int level);

void lw_sheets_colour(struct lw_sheets *sheets, unsigned colour);
// A line of so many points.
void lw_sheets_line(struct lw_sheets *sheets, double x, double y, double x2, double y2,
                    double width, unsigned colour);

// Text set in a width (wrapped at blanks, within words where it must be). Free with g_object_unref.
PangoLayout *lw_sheets_set(struct lw_sheets *sheets, const struct lw_style_pt *style,
                           const char *text, double width);
double lw_layout_height(PangoLayout *layout);
double lw_layout_width(PangoLayout *layout); // of the ink's line, for one line
void lw_sheets_show(struct lw_sheets *sheets, PangoLayout *layout, double x, double y,
                    unsigned colour);
// Sets and shows one piece of text from the left edge plus `indent` on, line by line over pages,
// and moves on.
void lw_sheets_flow(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                    double indent);

// The parts that stand in files of their own.
void lw_pdf_table(struct lw_sheets *sheets, const struct lw_document_block *block);
enum lw_status lw_pdf_figure(struct lw_sheets *sheets, const struct lw_chart *chart,
                             struct lw_error *error);
// Draws a display list with its top left corner at x, y; `scale` is points for one of its mm.
void lw_pdf_display(struct lw_sheets *sheets, const struct lw_display_list *list, double x,
                    double y, double scale);
double lw_pdf_figure_height(const struct lw_sheets *sheets);
// Photographs, two to a row; the first row's height; and those of a page onto its bound sheet.
void lw_pdf_pictures(struct lw_sheets *sheets, const struct lw_document_block *block);
double lw_pdf_pictures_least(struct lw_sheets *sheets, const struct lw_document_block *block);
void lw_pdf_draw_pictures(struct lw_sheets *sheets, size_t page);
unsigned lw_pdf_tone(enum lw_verdict verdict);
// The severity's bar at the left of a row or block: solid, double or dashed.
void lw_pdf_bar(struct lw_sheets *sheets, enum lw_verdict verdict, double x, double y,
                double height);

#endif
