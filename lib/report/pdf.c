// SPDX-License-Identifier: GPL-3.0-or-later
//
// The document block by block, then the pages with head and foot. A heading never stands alone at
// the foot of a page, a finding or figure is never cut.
#include "report/pdf.h"

#include "base/clock.h"
#include "base/file.h"
#include "report/qr.h"
#include "report/sheet.h"
#include "report/words.h"

#include <cairo-pdf.h>

#define INK  0x1b1f23
#define SOFT 0x4a5058
#define EDGE 0xc9ced3

static const struct lw_style_pt title_style = {17, true, false, INK};
static const struct lw_style_pt subtitle_style = {9.5, false, false, SOFT};
static const struct lw_style_pt heading_styles[] = {
    {13, true, false, INK}, {11, true, false, INK}, {9.5, true, false, INK}};
static const struct lw_style_pt text_style = {9, false, false, INK};
static const struct lw_style_pt strong_style = {9, true, false, INK};
static const struct lw_style_pt label_style = {8.5, false, false, SOFT};
static const struct lw_style_pt small_style = {7.4, false, false, SOFT};
static const struct lw_style_pt mono_style = {7.2, false, true, SOFT};
static const struct lw_style_pt digest_style = {13, true, true, INK};
static const struct lw_style_pt foot_style = {7.4, false, false, INK};
static const struct lw_style_pt mark_style = {10, true, false, INK};

struct press {
    const struct lw_document *document;
    struct lw_sheets sheets;
    enum lw_status status;
    struct lw_error *error;
};

unsigned lw_pdf_tone(enum lw_verdict verdict)
{
    static const unsigned tones[] = {[LW_PASS] = 0x1d6336,
                                     [LW_NOT_TESTED] = 0x4a5058,
                                     [LW_ATTENTION] = 0x7a5200,
                                     [LW_UNDECIDED] = 0x6a2c91,
                                     [LW_FAIL] = 0xa3211c};
    return tones[verdict];
}

void lw_pdf_bar(struct lw_sheets *sheets, enum lw_verdict verdict, double x, double y,
                double height)
{
    const double dashes[] = {4, 3};
    unsigned tone = lw_pdf_tone(verdict);
    switch (verdict) {
    case LW_PASS:
        break;
    case LW_NOT_TESTED:
        cairo_set_dash(sheets->cr, dashes, 2, 0);
        lw_sheets_line(sheets, x + 2, y, x + 2, y + height, 3, tone);
        cairo_set_dash(sheets->cr, NULL, 0, 0);
        break;
    case LW_UNDECIDED:
        lw_sheets_line(sheets, x + 0.75, y, x + 0.75, y + height, 1, tone);
        lw_sheets_line(sheets, x + 3.25, y, x + 3.25, y + height, 1, tone);
        break;
    case LW_ATTENTION:
    case LW_FAIL:
        lw_sheets_line(sheets, x + 2, y, x + 2, y + height, 4, tone);
        break;
    }
}

static double content_width(const struct lw_sheets *sheets)
{
    return sheets->right - sheets->left;
}

static double height_of(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                        double width)
{
    PangoLayout *layout = lw_sheets_set(sheets, style, text, width);
    double height = lw_layout_height(layout);
    g_object_unref(layout);
    return height;
}

static const char *line_at(const struct lw_list *lines, size_t index)
{
    return ((char **)lines->items)[index];
}

static void heading(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    lw_sheets_skip(sheets, block->level == 1 ? 18 : 10);
    if (block->level == 1) {
        lw_sheets_bookmark(sheets, block->text, 1);
        lw_sheets_line(sheets, sheets->left, sheets->y, sheets->right, sheets->y, 1.2, INK);
        sheets->y += 4;
    } else {
        lw_sheets_bookmark(sheets, block->text, block->level);
    }
    lw_sheets_flow(sheets, &heading_styles[block->level - 1], block->text, 0);
    sheets->y += 3;
}

static void paragraph(struct lw_sheets *sheets, const char *text)
{
    lw_sheets_skip(sheets, 3);
    lw_sheets_flow(sheets, &text_style, text, 0);
    sheets->y += 3;
}

// Shows text in a width from x on and returns its height; the place is not moved.
static double put(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                  double x, double y, double width)
{
    PangoLayout *layout = lw_sheets_set(sheets, style, text, width);
    double height = lw_layout_height(layout);
    lw_sheets_show(sheets, layout, x, y, style->colour);
    g_object_unref(layout);
    return height;
}

#define FACT_GAP   14.0
#define FACT_LABEL 84.0

static double fact_width(const struct lw_sheets *sheets)
{
    return (content_width(sheets) - FACT_GAP) / 2;
}

static double fact_height(struct lw_sheets *sheets, const struct lw_list *lines, size_t pair)
{
    double label = height_of(sheets, &label_style, line_at(lines, 2 * pair), FACT_LABEL - 4);
    double value = height_of(sheets, &text_style, line_at(lines, 2 * pair + 1),
                             fact_width(sheets) - FACT_LABEL);
    return fmax(label, value) + 3;
}

static double fact_row_height(struct lw_sheets *sheets, const struct lw_list *lines, size_t pair)
{
    double height = fact_height(sheets, lines, pair);
    return 2 * pair + 3 < lines->count ? fmax(height, fact_height(sheets, lines, pair + 1))
                                       : height;
}

static void fact(struct lw_sheets *sheets, const struct lw_list *lines, size_t pair, double x,
                 double height)
{
    double width = fact_width(sheets), y = sheets->y + 1;
    put(sheets, &label_style, line_at(lines, 2 * pair), x, y, FACT_LABEL - 4);
    put(sheets, &text_style, line_at(lines, 2 * pair + 1), x + FACT_LABEL, y, width - FACT_LABEL);
    lw_sheets_line(sheets, x, sheets->y + height, x + width, sheets->y + height, 0.4, EDGE);
}

static double facts_height(struct lw_sheets *sheets, const struct lw_list *lines)
{
    double height = 8;
    for (size_t pair = 0; 2 * pair + 1 < lines->count; pair += 2) {
        height += fact_row_height(sheets, lines, pair);
    }
    return height;
}

static void facts(struct lw_sheets *sheets, const struct lw_list *lines)
{
    double height = facts_height(sheets, lines);
    if (height < (sheets->bottom - sheets->top) / 2) {
        lw_sheets_need(sheets, height);
    }
    lw_sheets_skip(sheets, 4);
    for (size_t pair = 0; 2 * pair + 1 < lines->count; pair += 2) {
        double row = fact_row_height(sheets, lines, pair);
        lw_sheets_need(sheets, row);
        fact(sheets, lines, pair, sheets->left, row);
        if (2 * pair + 3 < lines->count) {
            fact(sheets, lines, pair + 1, sheets->left + fact_width(sheets) + FACT_GAP, row);
        }
        sheets->y += row;
    }
    sheets->y += 4;
}

// Reasons stand in a list; a bullet hangs before each.
static void bullet(struct lw_sheets *sheets, const char *text, double indent)
{
    double top = sheets->y + text_style.size_pt * 0.75;
    size_t page = sheets->pages.count;
    lw_sheets_flow(sheets, &text_style, text, indent + 10);
    if (page == sheets->pages.count) {
        lw_sheets_colour(sheets, INK);
        cairo_arc(sheets->cr, sheets->left + indent + 4, top - 1, 1.3, 0, 2 * G_PI);
        cairo_fill(sheets->cr);
    }
}

static void frame(struct lw_sheets *sheets, enum lw_verdict verdict, double top, double bottom)
{
    const double dashes[] = {5, 3};
    double thick = verdict == LW_FAIL ? 4 : verdict == LW_UNDECIDED ? 1 : 2;
    cairo_t *cr = sheets->cr;
    lw_sheets_colour(sheets, lw_pdf_tone(verdict));
    cairo_set_dash(cr, dashes, verdict == LW_NOT_TESTED ? 2 : 0, 0);
    cairo_set_line_width(cr, thick);
    cairo_rectangle(cr, sheets->left + thick / 2, top, content_width(sheets) - thick, bottom - top);
    cairo_stroke(cr);
    if (verdict == LW_UNDECIDED) {
        cairo_rectangle(cr, sheets->left + 3, top + 2.5, content_width(sheets) - 6,
                        bottom - top - 5);
        cairo_stroke(cr);
    }
    cairo_set_dash(cr, NULL, 0, 0);
}

static void verdict(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    struct lw_style_pt word = {15, true, false, lw_pdf_tone(block->verdict)};
    lw_sheets_skip(sheets, 8);
    double top = sheets->y;
    sheets->y += 9;
    lw_sheets_flow(sheets, &word, block->text, 12);
    sheets->y += 2;
    for (size_t i = 0; i < block->lines.count; i++) {
        bullet(sheets, line_at(&block->lines, i), 12);
    }
    sheets->y += 9;
    frame(sheets, block->verdict, top, sheets->y);
    sheets->y += 6;
}

// A piece of a finding: never cut, its bar beside it.
static void finding_piece(struct lw_sheets *sheets, enum lw_verdict verdict,
                          const struct lw_style_pt *style, const char *text, double indent)
{
    double inner = 12 + indent, width = content_width(sheets) - inner;
    double height = height_of(sheets, style, text, width) + 2;
    lw_sheets_need(sheets, height);
    put(sheets, style, text, sheets->left + inner, sheets->y, width);
    if (indent > 0) {
        lw_sheets_colour(sheets, INK);
        cairo_arc(sheets->cr, sheets->left + inner - 6, sheets->y + 6, 1.3, 0, 2 * G_PI);
        cairo_fill(sheets->cr);
    }
    lw_pdf_bar(sheets, verdict, sheets->left, sheets->y, height);
    sheets->y += height;
}

static void labelled(struct lw_text *text, const char *label, const char *says)
{
    lw_text_clear(text);
    lw_text_add(text, "%s %s", label, says);
}

static void finding_head(struct lw_text *text, const struct lw_document_block *block)
{
    struct lw_text where = {0};
    lw_finding_where(&block->finding, &where);
    lw_text_add(text, "%s%s%s", _(lw_verdict_shown(block->verdict)), where.length > 0 ? ": " : "",
                where.length > 0 ? where.bytes : "");
    if (block->finding.code != NULL) {
        lw_text_add(text, " (%s)", block->finding.code);
    }
    lw_text_finish(&where);
}

// An estimate on the high side is enough to keep a finding together.
static double finding_height(struct lw_sheets *sheets, const struct lw_finding *finding)
{
    double width = content_width(sheets) - 22, height = 40;
    height += height_of(sheets, &strong_style, finding->says, width);
    for (size_t i = 0; i < finding->because.count; i++) {
        height += height_of(sheets, &text_style, line_at(&finding->because, i), width) + 2;
    }
    height += finding->next == NULL ? 0 : height_of(sheets, &text_style, finding->next, width) + 12;
    height +=
        finding->caution == NULL ? 0 : height_of(sheets, &text_style, finding->caution, width) + 12;
    return height;
}

static void finding(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    const struct lw_finding *finding = &block->finding;
    struct lw_style_pt head = {9, true, false, lw_pdf_tone(block->verdict)};
    struct lw_text text = {0};
    lw_sheets_need(sheets, finding_height(sheets, finding));
    lw_sheets_skip(sheets, 6);
    finding_head(&text, block);
    finding_piece(sheets, block->verdict, &head, text.bytes == NULL ? "" : text.bytes, 0);
    finding_piece(sheets, block->verdict, &strong_style, finding->says, 0);
    lw_text_clear(&text);
    lw_finding_figures(finding, &text);
    if (text.length > 0) {
        finding_piece(sheets, block->verdict, &text_style, text.bytes, 0);
    }
    for (size_t i = 0; i < finding->because.count; i++) {
        finding_piece(sheets, block->verdict, &text_style, line_at(&finding->because, i), 10);
    }
    if (finding->next != NULL) {
        labelled(&text, _("Next:"), finding->next);
        finding_piece(sheets, block->verdict, &text_style, text.bytes, 0);
    }
    if (finding->caution != NULL) {
        labelled(&text, _("Caution:"), finding->caution);
        finding_piece(sheets, block->verdict, &text_style, text.bytes, 0);
    }
    sheets->y += 4;
    sheets->failed = sheets->failed || text.failed;
    lw_text_finish(&text);
}

#define CAUTION_LABEL 58.0

static void caution(struct lw_sheets *sheets, const char *text)
{
    double width = content_width(sheets) - CAUTION_LABEL - 8;
    double height = height_of(sheets, &text_style, text, width) + 5;
    lw_sheets_need(sheets, height);
    lw_sheets_line(sheets, sheets->left + 1, sheets->y, sheets->left + 1, sheets->y + height, 2,
                   INK);
    put(sheets, &strong_style, _("Caution"), sheets->left + 8, sheets->y + 2, CAUTION_LABEL);
    put(sheets, &text_style, text, sheets->left + 8 + CAUTION_LABEL, sheets->y + 2, width);
    sheets->y += height;
}

static void box(struct lw_sheets *sheets, double x, double y, double width, double height,
                bool dashed)
{
    const double dashes[] = {5, 3};
    lw_sheets_colour(sheets, INK);
    cairo_set_line_width(sheets->cr, dashed ? 1.5 : 0.6);
    cairo_set_dash(sheets->cr, dashes, dashed ? 2 : 0, 0);
    cairo_rectangle(sheets->cr, x, y, width, height);
    cairo_stroke(sheets->cr);
    cairo_set_dash(sheets->cr, NULL, 0, 0);
}

static void refused(struct lw_sheets *sheets, const char *text)
{
    double height = height_of(sheets, &strong_style, text, content_width(sheets) - 16) + 12;
    lw_sheets_need(sheets, height);
    box(sheets, sheets->left + 1, sheets->y, content_width(sheets) - 2, height, true);
    put(sheets, &strong_style, text, sheets->left + 8, sheets->y + 6, content_width(sheets) - 16);
    sheets->y += height + 6;
}

#define SEAL_WIDTH  86.0
#define SEAL_HEIGHT 118.0

// The code and the beginning of the digest below it.
static void seal(struct press *press, const char *digest)
{
    struct lw_sheets *sheets = &press->sheets;
    double y = sheets->y;
    struct lw_display_list list;
    char shown[40], upper[20], lower[20];
    enum lw_status status = lw_qr_of_digest(digest, &list, press->error);
    if (status != LW_OK) {
        press->status = status;
        return;
    }
    double side = list.height_mm * LW_MM, x = sheets->left + (SEAL_WIDTH - side) / 2;
    lw_pdf_display(sheets, &list, x, y, LW_MM);
    lw_display_list_finish(&list);
    lw_digest_shown(digest, 4, shown, sizeof shown);
    lw_print(upper, sizeof upper, "%.9s", shown);
    lw_copy(lower, sizeof lower, strlen(shown) > 10 ? shown + 10 : "");
    y += side;
    y += put(sheets, &digest_style, upper, sheets->left + 2, y, SEAL_WIDTH);
    y += put(sheets, &digest_style, lower, sheets->left + 2, y, SEAL_WIDTH);
    put(sheets, &small_style, _("digest of this visit"), sheets->left + 2, y, SEAL_WIDTH);
}

static double role_height(struct lw_sheets *sheets, const struct lw_list *roles, double width)
{
    double height = 74;
    for (size_t i = 0; i < roles->count; i++) {
        height = fmax(height, height_of(sheets, &text_style, line_at(roles, i), width - 12) + 52);
    }
    return height;
}

static void role(struct lw_sheets *sheets, const char *text, double x, double width, double height)
{
    double foot = sheets->y + height - 14;
    box(sheets, x, sheets->y, width, height, false);
    put(sheets, &text_style, text, x + 6, sheets->y + 4, width - 12);
    lw_sheets_line(sheets, x + 6, foot, x + width - 6, foot, 0.6, SOFT);
    put(sheets, &small_style, _("name, date, signature"), x + 6, foot + 1, width - 12);
}

static void signature(struct press *press, const struct lw_document_block *block)
{
    const double gap = 10;
    struct lw_sheets *sheets = &press->sheets;
    lw_sheets_skip(sheets, 8);
    if (block->text != NULL) {
        refused(sheets, block->text);
        return;
    }
    size_t count = block->lines.count;
    double left = block->digest != NULL ? SEAL_WIDTH + gap : 0;
    double width = (content_width(sheets) - left - gap * (double)(count - 1)) / (double)count;
    double height = role_height(sheets, &block->lines, width);
    height = block->digest != NULL ? fmax(height, SEAL_HEIGHT) : height;
    lw_sheets_need(sheets, height);
    if (block->digest != NULL) {
        seal(press, block->digest);
    }
    for (size_t i = 0; i < count; i++) {
        role(sheets, line_at(&block->lines, i), sheets->left + left + (double)i * (width + gap),
             width, height);
    }
    sheets->y += height + 6;
}

static void evidence(struct lw_sheets *sheets, const struct lw_list *lines)
{
    for (size_t i = 0; i + 1 < lines->count; i += 2) {
        double width = content_width(sheets);
        double height = height_of(sheets, &text_style, line_at(lines, i), width) +
                        height_of(sheets, &mono_style, line_at(lines, i + 1), width) + 3;
        lw_sheets_need(sheets, height);
        double name = put(sheets, &text_style, line_at(lines, i), sheets->left, sheets->y, width);
        put(sheets, &mono_style, line_at(lines, i + 1), sheets->left, sheets->y + name, width);
        sheets->y += height;
    }
}

static const struct lw_document_block *block_at(const struct press *press, size_t index)
{
    return &((const struct lw_document_block *)press->document->blocks.items)[index];
}

// What must stand on one page from block i on: a heading with what it heads, the short text that
// begins a section with what follows it.
static double keep_together(struct press *press, size_t i, int depth)
{
    struct lw_sheets *sheets = &press->sheets;
    if (i >= press->document->blocks.count || depth == 0) {
        return 0;
    }
    const struct lw_document_block *block = block_at(press, i);
    double width = content_width(sheets);
    switch (block->kind) {
    case LW_BLOCK_HEADING:
        return 36 + height_of(sheets, &heading_styles[block->level - 1], block->text, width) +
               keep_together(press, i + 1, depth - 1);
    case LW_BLOCK_PARAGRAPH:
        return 8 + fmin(60, height_of(sheets, &text_style, block->text, width)) +
               keep_together(press, i + 1, depth - 1);
    case LW_BLOCK_FACTS:
        return fmin(160, facts_height(sheets, &block->lines)) +
               keep_together(press, i + 1, depth - 1);
    case LW_BLOCK_FIGURE:
        return lw_pdf_figure_height(sheets);
    case LW_BLOCK_PICTURES:
        return lw_pdf_pictures_least(sheets, block);
    case LW_BLOCK_TABLE:
        return LW_PDF_TABLE_LEAST;
    case LW_BLOCK_FINDING:
        return finding_height(sheets, &block->finding);
    case LW_BLOCK_CAUTION:
    case LW_BLOCK_EVIDENCE:
    case LW_BLOCK_SIGNATURE:
    case LW_BLOCK_VERDICT:
        return 60;
    case LW_BLOCK_PAGE:
        return 0;
    }
    return 0;
}

static void figure(struct press *press, const struct lw_document_block *block)
{
    enum lw_status status = lw_pdf_figure(&press->sheets, block->chart, press->error);
    if (status == LW_GARBLED) {
        lw_sheets_flow(&press->sheets, &strong_style, block->chart->title, 0);
        paragraph(&press->sheets, _("There is nothing to draw: no value was obtained."));
    } else {
        press->status = status;
    }
}

static void print_block(struct press *press, size_t i)
{
    const struct lw_document_block *block = block_at(press, i);
    struct lw_sheets *sheets = &press->sheets;
    switch (block->kind) {
    case LW_BLOCK_HEADING:
        lw_sheets_need(sheets, keep_together(press, i, 4));
        heading(sheets, block);
        break;
    case LW_BLOCK_PARAGRAPH:
        paragraph(sheets, block->text);
        break;
    case LW_BLOCK_FACTS:
        facts(sheets, &block->lines);
        break;
    case LW_BLOCK_TABLE:
        lw_pdf_table(sheets, block);
        break;
    case LW_BLOCK_VERDICT:
        verdict(sheets, block);
        break;
    case LW_BLOCK_FINDING:
        finding(sheets, block);
        break;
    case LW_BLOCK_FIGURE:
        figure(press, block);
        break;
    case LW_BLOCK_PICTURES:
        lw_pdf_pictures(sheets, block);
        break;
    case LW_BLOCK_CAUTION:
        caution(sheets, block->text);
        break;
    case LW_BLOCK_SIGNATURE:
        signature(press, block);
        break;
    case LW_BLOCK_EVIDENCE:
        evidence(sheets, &block->lines);
        break;
    case LW_BLOCK_PAGE:
        lw_sheets_page(sheets);
        break;
    }
}

static void print_document(struct press *press)
{
    struct lw_sheets *sheets = &press->sheets;
    const struct lw_document *document = press->document;
    lw_sheets_bookmark(sheets, document->title, 1);
    if (document->simulated) {
        refused(sheets, _("SIMULATED: made on a virtual chain, says nothing about a machine"));
    }
    lw_sheets_flow(sheets, &title_style, document->title, 0);
    lw_sheets_flow(sheets, &subtitle_style, document->subtitle, 0);
    for (size_t i = 0; i < document->blocks.count && press->status == LW_OK && !sheets->failed;
         i++) {
        print_block(press, i);
    }
}

// ---- pages

static cairo_status_t take_bytes(void *closure, const unsigned char *bytes, unsigned count)
{
    struct lw_text *pdf = closure;
    lw_text_put(pdf, (const char *)bytes, count);
    return pdf->failed ? CAIRO_STATUS_NO_MEMORY : CAIRO_STATUS_SUCCESS;
}

static void watermark(struct lw_sheets *sheets)
{
    struct lw_style_pt style = {64, true, false, INK};
    PangoLayout *layout = lw_sheets_set(sheets, &style, _("SIMULATED"), 0);
    cairo_t *cr = sheets->cr;
    cairo_save(cr);
    cairo_translate(cr, sheets->width / 2, sheets->height / 2);
    cairo_rotate(cr, -32 * G_PI / 180);
    cairo_move_to(cr, -lw_layout_width(layout) / 2, -lw_layout_height(layout) / 2);
    cairo_set_source_rgba(cr, 0, 0, 0, 0.08);
    pango_cairo_show_layout(cr, layout);
    cairo_restore(cr);
    g_object_unref(layout);
}

// One line at the head or foot, an ellipsis where it is longer than the page leaves room for.
static void put_aligned(struct lw_sheets *sheets, const struct lw_style_pt *style, const char *text,
                        double y, double share)
{
    const double room = content_width(sheets) - 60;
    PangoLayout *layout = lw_sheets_set(sheets, style, text, 0);
    if (lw_layout_width(layout) > room) {
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
        pango_layout_set_width(layout, (int)(room * PANGO_SCALE));
    }
    double x = sheets->left + share * (content_width(sheets) - lw_layout_width(layout));
    lw_sheets_show(sheets, layout, x, y, style->colour);
    g_object_unref(layout);
}

static void foot(struct press *press, size_t page)
{
    struct lw_sheets *sheets = &press->sheets;
    char text[100];
    double y = sheets->bottom + 6 * LW_MM;
    lw_print(text, sizeof text, "%s \xc2\xb7 %s", press->document->title,
             press->document->subtitle);
    put_aligned(sheets, &foot_style, text, y, 0);
    lw_print(text, sizeof text, "%zu / %zu", page, sheets->pages.count);
    put_aligned(sheets, &foot_style, text, y, 1);
    if (press->document->simulated) {
        put_aligned(sheets, &mark_style, _("SIMULATED"), sheets->top - 10 * LW_MM, 0.5);
    }
}

static void bind_bookmarks(const struct lw_sheets *sheets, cairo_surface_t *surface)
{
    int parents[4] = {CAIRO_PDF_OUTLINE_ROOT, CAIRO_PDF_OUTLINE_ROOT, CAIRO_PDF_OUTLINE_ROOT,
                      CAIRO_PDF_OUTLINE_ROOT};
    for (size_t i = 0; i < sheets->bookmarks.count; i++) {
        const struct lw_bookmark *bookmark =
            &((const struct lw_bookmark *)sheets->bookmarks.items)[i];
        char place[80];
        lw_print(place, sizeof place, "page=%d pos=[%.1f %.1f]", bookmark->page, sheets->left,
                 bookmark->y);
        int id = cairo_pdf_surface_add_outline(surface, parents[bookmark->level - 1],
                                               bookmark->text, place, 0);
        for (int level = bookmark->level; level < 4; level++) {
            parents[level] = id;
        }
    }
}

static void describe(const struct lw_document *document, int64_t made_utc_ns,
                     cairo_surface_t *surface)
{
    char made[LW_TIME_TEXT], title[2 * LW_DOCUMENT_CELL + 8];
    lw_time_format(made_utc_ns, 0, made);
    lw_print(title, sizeof title, "%s \xc2\xb7 %s", document->title, document->subtitle);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "linewalk");
    if (document->anchor != NULL) {
        cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_KEYWORDS, document->anchor);
    }
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, made);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, made);
}

static void bind_page(struct press *press, cairo_surface_t *surface, size_t index)
{
    struct lw_sheets *sheets = &press->sheets;
    cairo_destroy(sheets->cr);
    sheets->cr = cairo_create(surface);
    cairo_set_source_surface(sheets->cr, ((cairo_surface_t **)sheets->pages.items)[index], 0, 0);
    cairo_paint(sheets->cr);
    lw_pdf_draw_pictures(sheets, index + 1);
    foot(press, index + 1);
    if (press->document->simulated) {
        watermark(sheets);
    }
    cairo_show_page(sheets->cr);
}

static enum lw_status bind(struct press *press, int64_t made_utc_ns, struct lw_text *pdf)
{
    struct lw_sheets *sheets = &press->sheets;
    cairo_surface_t *surface =
        cairo_pdf_surface_create_for_stream(take_bytes, pdf, sheets->width, sheets->height);
    describe(press->document, made_utc_ns, surface);
    for (size_t i = 0; i < sheets->pages.count; i++) {
        bind_page(press, surface, i);
    }
    bind_bookmarks(sheets, surface);
    cairo_surface_finish(surface);
    cairo_status_t status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    return status == CAIRO_STATUS_SUCCESS ? LW_OK
                                          : lw_fail(press->error, LW_MEMORY, "cannot draw: %s",
                                                    cairo_status_to_string(status));
}

enum lw_status lw_report_pdf(const struct lw_document *document, enum lw_paper paper,
                             int64_t made_utc_ns, struct lw_text *pdf, struct lw_error *error)
{
    if (document->failed) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    struct press press = {.document = document, .error = error};
    if (paper == LW_PAPER_LETTER) {
        lw_sheets_begin(&press.sheets, 612, 792);
    } else {
        lw_sheets_begin(&press.sheets, 210 * LW_MM, 297 * LW_MM);
    }
    print_document(&press);
    enum lw_status status = press.status;
    if (status == LW_OK) {
        status = press.sheets.failed ? lw_fail(error, LW_MEMORY, "out of memory")
                                     : bind(&press, made_utc_ns, pdf);
    }
    lw_sheets_finish(&press.sheets);
    return status == LW_OK ? lw_text_check(pdf, error) : status;
}
