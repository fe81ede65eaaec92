// SPDX-License-Identifier: GPL-3.0-or-later
//
// A document as one page. Nothing is loaded and nothing runs: the policy in its head forbids both,
// and allows the one style sheet by its digest, and pictures that stand in the page itself where
// there are any.
#include "base/file.h"
#include "base/unit.h"
#include "report/chart.h"
#include "report/markup.h"
#include "report/qr.h"
#include "report/report.h"
#include "report/words.h"

// What of the title stands at the foot of each printed page, bytes.
enum { RUNNING_ROOM = 100 };

struct page {
    const struct lw_document *document;
    struct lw_text *out;
    int figures, sections;
    enum lw_status status;
    struct lw_error *error;
};

static void put(struct page *page, const char *markup)
{
    lw_text_put(page->out, markup, strlen(markup));
}

static void put_text(struct page *page, const char *text)
{
    lw_markup_text(page->out, text);
}

// An element with text and nothing else. `tag` may carry attributes.
static void element(struct page *page, const char *tag, const char *text)
{
    lw_text_add(page->out, "<%s>", tag);
    put_text(page, text);
    lw_text_add(page->out, "</%.*s>", (int)strcspn(tag, " "), tag);
}

static const char *line_at(const struct lw_list *lines, size_t index)
{
    return ((char **)lines->items)[index];
}

static void heading(struct page *page, const struct lw_document_block *block)
{
    char tag[32];
    if (block->level == 1) {
        lw_print(tag, sizeof tag, "h2 id=\"s%d\"", ++page->sections);
    } else {
        lw_print(tag, sizeof tag, "h%d", block->level + 1);
    }
    element(page, tag, block->text);
    put(page, "\n");
}

static void pairs(struct page *page, const struct lw_list *lines, const char *class)
{
    lw_text_add(page->out, "<dl class=\"%s\">\n", class);
    for (size_t i = 0; i + 1 < lines->count; i += 2) {
        put(page, "<div>");
        element(page, "dt", line_at(lines, i));
        element(page, "dd", line_at(lines, i + 1));
        put(page, "</div>\n");
    }
    put(page, "</dl>\n");
}

static void table_head(struct page *page, const struct lw_table *table)
{
    put(page, "<thead><tr>");
    for (size_t i = 0; i < table->columns; i++) {
        lw_text_add(page->out, "<th scope=\"col\"%s>", table->numeric[i] ? " class=\"n\"" : "");
        put_text(page, table->heads[i]);
        if (table->units[i] != NULL) {
            put(page, " ");
            element(page, "span class=\"unit\"", lw_unit_shown(table->units[i], true));
        }
        put(page, "</th>");
    }
    put(page, "</tr></thead>\n");
}

// Whether a text has a word so long that a column must be allowed to break it.
static bool has_long_word(const char *text)
{
    enum { LONG_WORD = 18 };
    size_t run = 0;
    for (; *text != '\0'; text++) {
        run = *text == ' ' ? 0 : run + 1;
        if (run > LONG_WORD) {
            return true;
        }
    }
    return false;
}

static void table_cell(struct page *page, const struct lw_table *table, size_t index)
{
    size_t column = index % table->columns;
    const char *text = line_at(&table->cells, index);
    const char *class = has_long_word(text) ? "w" : table->numeric[column] ? "n" : NULL;
    const char *tag = column == 0 ? "th" : "td";
    lw_text_add(page->out, "<%s%s", tag, column == 0 ? " scope=\"row\"" : "");
    if (class != NULL) {
        lw_text_add(page->out, " class=\"%s\"", class);
    }
    put(page, ">");
    put_text(page, text);
    lw_text_add(page->out, "</%s>", tag);
}

static void table_row(struct page *page, const struct lw_table *table, size_t row)
{
    enum lw_verdict mark = (enum lw_verdict)((const int *)table->marks.items)[row];
    if (mark == LW_PASS) {
        put(page, "<tr>");
    } else {
        lw_text_add(page->out, "<tr class=\"v-%s\">", lw_verdict_word(mark));
    }
    for (size_t i = 0; i < table->columns; i++) {
        table_cell(page, table, row * table->columns + i);
    }
    put(page, "</tr>\n");
}

static void table(struct page *page, const struct lw_document_block *block)
{
    put(page, "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"");
    put_text(page, block->text);
    put(page, block->table.columns > 3 ? "\"><table class=\"wide\">" : "\"><table>");
    element(page, "caption", block->text);
    table_head(page, &block->table);
    put(page, "<tbody>\n");
    for (size_t i = 0; i < block->table.cells.count / block->table.columns; i++) {
        table_row(page, &block->table, i);
    }
    put(page, "</tbody></table></div>\n");
}

static void list(struct page *page, const struct lw_list *lines)
{
    if (lines->count == 0) {
        return;
    }
    put(page, "<ul>");
    for (size_t i = 0; i < lines->count; i++) {
        element(page, "li", line_at(lines, i));
    }
    put(page, "</ul>\n");
}

static void verdict(struct page *page, const struct lw_document_block *block)
{
    lw_text_add(page->out, "<section class=\"verdict v-%s\" aria-label=\"",
                lw_verdict_word(block->verdict));
    put_text(page, _("Verdict"));
    put(page, "\">");
    element(page, "p class=\"word\"", block->text);
    list(page, &block->lines);
    put(page, "</section>\n");
}

static void labelled(struct page *page, const char *class, const char *label, const char *text)
{
    if (text == NULL) {
        return;
    }
    lw_text_add(page->out, "<p class=\"%s\">", class);
    element(page, "b", label);
    put(page, " ");
    put_text(page, text);
    put(page, "</p>");
}

static void finding_figures(struct page *page, const struct lw_finding *finding)
{
    struct lw_text text = {0};
    lw_finding_figures(finding, &text);
    if (text.length > 0) {
        element(page, "p class=\"figures\"", text.bytes);
    }
    page->out->failed = page->out->failed || text.failed;
    lw_text_finish(&text);
}

static void finding(struct page *page, const struct lw_document_block *block)
{
    const struct lw_finding *finding = &block->finding;
    struct lw_text where = {0};
    lw_finding_where(finding, &where);
    lw_text_add(page->out, "<article class=\"finding v-%s\"><p class=\"head\">",
                lw_verdict_word(block->verdict));
    element(page, "span class=\"badge\"", _(lw_verdict_shown(block->verdict)));
    put(page, " ");
    element(page, "b", where.bytes == NULL ? "" : where.bytes);
    put(page, " ");
    element(page, "span class=\"code\"", finding->code == NULL ? "" : finding->code);
    put(page, "</p>");
    element(page, "p class=\"says\"", finding->says);
    finding_figures(page, finding);
    list(page, &finding->because);
    labelled(page, "next", _("Next:"), finding->next);
    labelled(page, "warn", _("Caution:"), finding->caution);
    put(page, "</article>\n");
    page->out->failed = page->out->failed || where.failed;
    lw_text_finish(&where);
}

static void figure(struct page *page, const struct lw_document_block *block)
{
    struct lw_display_list list;
    put(page, "<figure>");
    element(page, "figcaption", block->chart->title);
    enum lw_status status =
        lw_chart_layout(block->chart, LW_FIGURE_WIDTH_MM, LW_FIGURE_HEIGHT_MM, &list, page->error);
    if (status == LW_OK) {
        put(page, "<div class=\"plot\" tabindex=\"0\" role=\"region\" aria-label=\"");
        put_text(page, block->chart->title);
        put(page, "\">");
        lw_svg(page->out, &list, "chart", block->chart->title, block->chart->alternative,
               ++page->figures);
        put(page, "</div>");
        lw_display_list_finish(&list);
    } else if (status == LW_GARBLED) {
        element(page, "p", _("There is nothing to draw: no value was obtained."));
    } else {
        page->status = status;
    }
    put(page, "</figure>\n");
}

// RFC 4648, section 4.
static void put_base64(struct lw_text *out, const unsigned char *bytes, size_t count)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < count; i += 3) {
        size_t left = count - i;
        unsigned bits = (unsigned)bytes[i] << 16 | (left > 1 ? (unsigned)bytes[i + 1] << 8 : 0u) |
                        (left > 2 ? bytes[i + 2] : 0u);
        const char four[] = {digits[bits >> 18], digits[bits >> 12 & 63],
                             left > 1 ? digits[bits >> 6 & 63] : '=',
                             left > 2 ? digits[bits & 63] : '='};
        lw_text_put(out, four, sizeof four);
    }
}

// A browser turns a picture upright by itself; the sides it is told are those it then has.
static void picture(struct page *page, const struct lw_picture *picture)
{
    put(page, "<figure class=\"picture\"><img alt=\"");
    put_text(page, _("Photograph: "));
    put_text(page, picture->caption);
    lw_text_add(page->out, "\" width=\"%d\" height=\"%d\" src=\"data:image/%s;base64,",
                lw_picture_width_px(picture), lw_picture_height_px(picture),
                picture->png ? "png" : "jpeg");
    put_base64(page->out, (const unsigned char *)picture->bytes, picture->length);
    put(page, "\"><figcaption>");
    element(page, "p", picture->caption);
    element(page, "p class=\"source\"", picture->source);
    put(page, "</figcaption></figure>\n");
}

static void pictures(struct page *page, const struct lw_list *list)
{
    put(page, "<div class=\"pictures\">\n");
    for (size_t i = 0; i < list->count; i++) {
        picture(page, &((const struct lw_picture *)list->items)[i]);
    }
    put(page, "</div>\n");
}

// Sixteen digits in groups are what people compare; the code holds all of them.
static void seal(struct page *page, const char *digest)
{
    struct lw_display_list list;
    char shown[40];
    lw_digest_shown(digest, 4, shown, sizeof shown);
    enum lw_status status = lw_qr_of_digest(digest, &list, page->error);
    if (status != LW_OK) {
        page->status = status;
        return;
    }
    put(page, "<div class=\"code\">");
    lw_svg(page->out, &list, "qr", _("Digest of this visit as a QR code"), digest, ++page->figures);
    lw_display_list_finish(&list);
    element(page, "p class=\"digest\"", shown);
    element(page, "p class=\"hand\"", _("digest of this visit"));
    put(page, "</div>");
}

static void signature(struct page *page, const struct lw_document_block *block)
{
    if (block->text != NULL) {
        element(page, "p class=\"refused\"", block->text);
        return;
    }
    put(page,
        block->digest != NULL ? "<div class=\"signatures seal\">" : "<div class=\"signatures\">");
    if (block->digest != NULL) {
        seal(page, block->digest);
    }
    for (size_t i = 0; i < block->lines.count; i++) {
        put(page, "<div>");
        element(page, "p", line_at(&block->lines, i));
        element(page, "p class=\"hand\"", _("name, date, signature"));
        put(page, "</div>");
    }
    put(page, "</div>\n");
}

// Cautions that follow each other share a frame.
static size_t cautions(struct page *page, const struct lw_document_block *blocks, size_t count,
                       size_t first)
{
    size_t i = first;
    put(page, "<ul class=\"cautions\">");
    for (; i < count && blocks[i].kind == LW_BLOCK_CAUTION; i++) {
        put(page, "<li>");
        element(page, "b", _("Caution"));
        put_text(page, blocks[i].text);
        put(page, "</li>\n");
    }
    put(page, "</ul>\n");
    return i;
}

static void block(struct page *page, const struct lw_document_block *block)
{
    switch (block->kind) {
    case LW_BLOCK_HEADING:
        heading(page, block);
        break;
    case LW_BLOCK_PARAGRAPH:
        element(page, "p", block->text);
        put(page, "\n");
        break;
    case LW_BLOCK_FACTS:
        pairs(page, &block->lines, "facts");
        break;
    case LW_BLOCK_TABLE:
        table(page, block);
        break;
    case LW_BLOCK_VERDICT:
        verdict(page, block);
        break;
    case LW_BLOCK_FINDING:
        finding(page, block);
        break;
    case LW_BLOCK_FIGURE:
        figure(page, block);
        break;
    case LW_BLOCK_PICTURES:
        pictures(page, &block->pictures);
        break;
    case LW_BLOCK_SIGNATURE:
        signature(page, block);
        break;
    case LW_BLOCK_EVIDENCE:
        pairs(page, &block->lines, "evidence");
        break;
    case LW_BLOCK_PAGE:
        put(page, "<div class=\"page\"></div>\n");
        break;
    case LW_BLOCK_CAUTION:
        break;
    }
}

static void contents(struct page *page)
{
    const struct lw_document_block *blocks = page->document->blocks.items;
    int number = 0;
    put(page, "<nav aria-label=\"");
    put_text(page, _("Contents"));
    put(page, "\"><ul>");
    for (size_t i = 0; i < page->document->blocks.count; i++) {
        if (blocks[i].kind == LW_BLOCK_HEADING && blocks[i].level == 1) {
            lw_text_add(page->out, "<li><a href=\"#s%d\">", ++number);
            put_text(page, blocks[i].text);
            put(page, "</a></li>");
        }
    }
    put(page, "</ul></nav>\n");
}

// The front page stands alone; the contents follow it.
static void blocks(struct page *page)
{
    const struct lw_document_block *all = page->document->blocks.items;
    size_t count = page->document->blocks.count;
    bool listed = false;
    for (size_t i = 0; i < count && page->status == LW_OK;) {
        if (all[i].kind == LW_BLOCK_CAUTION) {
            i = cautions(page, all, count, i);
            continue;
        }
        block(page, &all[i]);
        if (all[i].kind == LW_BLOCK_PAGE && !listed) {
            contents(page);
            listed = true;
        }
        i++;
    }
}

static bool has_pictures(const struct lw_document *document)
{
    const struct lw_document_block *blocks = document->blocks.items;
    for (size_t i = 0; i < document->blocks.count; i++) {
        if (blocks[i].kind == LW_BLOCK_PICTURES) {
            return true;
        }
    }
    return false;
}

static void put_digest(struct lw_text *out, const char *hex)
{
    unsigned char bytes[(LW_DIGEST - 1) / 2] = {0};
    for (size_t i = 0; hex[i] != '\0'; i++) {
        int nibble = hex[i] <= '9' ? hex[i] - '0' : hex[i] - 'a' + 10;
        bytes[i / 2] = (unsigned char)(bytes[i / 2] << 4 | nibble);
    }
    put_base64(out, bytes, sizeof bytes);
}

static void head(struct page *page)
{
    const struct lw_document *document = page->document;
    struct lw_text style = {0};
    char digest[LW_DIGEST], title[2 * LW_DOCUMENT_CELL + 16], running[RUNNING_ROOM];
    lw_print(title, sizeof title, "%s \xc2\xb7 %s", document->title, document->subtitle);
    lw_copy(running, sizeof running, title);
    lw_style(&style, running, document->simulated ? _("SIMULATED") : NULL);
    page->out->failed = page->out->failed || style.failed;
    put(page, "<!DOCTYPE html>\n<html lang=\"");
    put_text(page, document->language);
    put(page, "\">\n<head>\n<meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\" "
              "content=\"default-src 'none'; base-uri 'none'; form-action 'none'; ");
    put(page, has_pictures(document) ? "img-src data:; style-src 'sha256-" : "style-src 'sha256-");
    lw_digest(style.bytes == NULL ? "" : style.bytes, style.length, digest);
    put_digest(page->out, digest);
    put(page, "'\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
              "<meta name=\"referrer\" content=\"no-referrer\">\n");
    element(page, "title", title);
    if (document->anchor != NULL) {
        put(page, "\n<meta name=\"keywords\" content=\"");
        put_text(page, document->anchor);
        put(page, "\">");
    }
    put(page, "\n<style>");
    lw_text_put(page->out, style.bytes, style.length);
    put(page, "</style>\n</head>\n");
    lw_text_finish(&style);
}

static void banner(struct page *page)
{
    if (page->document->simulated) {
        element(page, "header class=\"simulated\"",
                _("SIMULATED: made on a virtual chain, says nothing about a machine"));
        element(page, "div class=\"watermark\" aria-hidden=\"true\"", _("SIMULATED"));
    }
}

enum lw_status lw_report_html(const struct lw_document *document, struct lw_text *html,
                              struct lw_error *error)
{
    if (document->failed) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    struct page page = {.document = document, .out = html, .error = error};
    head(&page);
    put(&page, "<body>\n");
    banner(&page);
    put(&page, "<main>\n");
    element(&page, "h1", document->title);
    element(&page, "p class=\"subtitle\"", document->subtitle);
    put(&page, "\n");
    blocks(&page);
    put(&page, "</main>\n</body>\n</html>\n");
    return page.status == LW_OK ? lw_text_check(html, error) : page.status;
}
