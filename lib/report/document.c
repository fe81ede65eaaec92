// SPDX-License-Identifier: GPL-3.0-or-later
//
// Documents: blocks in plain text. All text passes one gate, so a renderer needs to escape and
// nothing else.
#include "report/document.h"

#include "base/list.h"
#include "base/utf8.h"
#include "report/chart.h"

#include <assert.h>
#include <stdarg.h>
#include <stdint.h>

// Combining marks stacked without end run over the lines above and below; scripts that need marks
// get by with fewer.
enum { MARKS_MOST = 4 };

static bool is_mark(uint32_t code)
{
    return (code >= 0x0300 && code <= 0x036f) || (code >= 0x0483 && code <= 0x0489) ||
           (code >= 0x1ab0 && code <= 0x1aff) || (code >= 0x1dc0 && code <= 0x1dff) ||
           (code >= 0x20d0 && code <= 0x20ff) || (code >= 0xfe20 && code <= 0xfe2f);
}

static size_t drop_piled_marks(char *text, size_t length)
{
    size_t kept = 0, marks = 0;
    for (size_t i = 0; i < length;) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(text + i, length - i, &code);
        taken = taken == 0 ? 1 : taken;
        marks = is_mark(code) ? marks + 1 : 0;
        if (marks <= MARKS_MOST) {
            memmove(text + kept, text + i, taken);
            kept += taken;
        }
        i += taken;
    }
    text[kept] = '\0';
    return kept;
}

static void cut(char *text, size_t length, size_t most)
{
    if (length <= most) {
        return;
    }
    while (most > 0 && ((unsigned char)text[most] & 0xc0) == 0x80) {
        most--;
    }
    memcpy(text + most, "\xe2\x80\xa6", 4);
}

char *lw_document_text(const char *text, size_t most)
{
    size_t length = strlen(text);
    size_t room = length * 3 + 8;
    char *folded = lw_duplicate(text);
    char *clean = malloc(room);
    if (folded != NULL && clean != NULL) {
        for (char *byte = folded; *byte != '\0'; byte++) {
            *byte = *byte == '\n' || *byte == '\t' || *byte == '\r' ? ' ' : *byte;
        }
        size_t cleaned = lw_text_clean(clean, room, folded, length);
        cut(clean, drop_piled_marks(clean, cleaned), most);
    }
    free(folded);
    return folded == NULL ? free(clean), NULL : clean;
}

static char *keep(struct lw_document *document, const char *text, size_t most)
{
    char *kept = lw_document_text(text == NULL || text[0] == '\0' ? "-" : text, most);
    document->failed = document->failed || kept == NULL;
    return kept;
}

// Absent stays absent.
static char *keep_if(struct lw_document *document, const char *text, size_t most)
{
    return text == NULL ? NULL : keep(document, text, most);
}

static struct lw_document_block *add(struct lw_document *document, enum lw_block_kind kind)
{
    if (document->failed) {
        return NULL;
    }
    struct lw_document_block *block = lw_list_add(&document->blocks, sizeof *block);
    if (block == NULL) {
        document->failed = true;
        return NULL;
    }
    block->kind = kind;
    return block;
}

static struct lw_document_block *last(struct lw_document *document, enum lw_block_kind kind)
{
    if (document->failed || document->blocks.count == 0) {
        return NULL;
    }
    struct lw_document_block *blocks = document->blocks.items;
    struct lw_document_block *block = &blocks[document->blocks.count - 1];
    return block->kind == kind ? block : NULL;
}

static void add_line(struct lw_document *document, struct lw_list *lines, const char *text,
                     size_t most)
{
    char **line = lw_list_add(lines, sizeof *line);
    if (line == NULL) {
        document->failed = true;
        return;
    }
    *line = keep(document, text, most);
}

static void add_text(struct lw_document *document, enum lw_block_kind kind, const char *text)
{
    struct lw_document_block *block = add(document, kind);
    if (block != NULL) {
        block->text = keep(document, text, LW_DOCUMENT_SENTENCE);
    }
}

void lw_document_begin(struct lw_document *document, const char *title, const char *subtitle,
                       const char *language)
{
    document->title = keep(document, title, LW_DOCUMENT_CELL);
    document->subtitle = keep(document, subtitle, LW_DOCUMENT_CELL);
    document->language = keep(document, language == NULL ? "en" : language, 35);
}

void lw_document_anchor(struct lw_document *document, const char *anchor)
{
    free(document->anchor);
    document->anchor = lw_duplicate(anchor);
    document->failed = document->failed || (anchor != NULL && document->anchor == NULL);
}

void lw_document_heading(struct lw_document *document, int level, const char *text)
{
    assert(level >= 1 && level <= 3);
    struct lw_document_block *block = add(document, LW_BLOCK_HEADING);
    if (block != NULL) {
        block->level = level;
        block->text = keep(document, text, LW_DOCUMENT_CELL);
    }
}

void lw_document_paragraph(struct lw_document *document, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char text[LW_DOCUMENT_SENTENCE + 64];
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    add_text(document, LW_BLOCK_PARAGRAPH, text);
}

void lw_document_caution(struct lw_document *document, const char *text)
{
    add_text(document, LW_BLOCK_CAUTION, text);
}

void lw_document_page(struct lw_document *document)
{
    add(document, LW_BLOCK_PAGE);
}

void lw_document_verdict(struct lw_document *document, enum lw_verdict severity, const char *word)
{
    struct lw_document_block *block = add(document, LW_BLOCK_VERDICT);
    if (block != NULL) {
        block->verdict = severity;
        block->text = keep(document, word, LW_DOCUMENT_CELL);
    }
}

void lw_document_reason(struct lw_document *document, const char *format, ...)
{
    struct lw_document_block *block = last(document, LW_BLOCK_VERDICT);
    assert(block != NULL || document->failed);
    va_list arguments;
    va_start(arguments, format);
    char text[LW_DOCUMENT_SENTENCE + 64];
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (block != NULL) {
        add_line(document, &block->lines, text, LW_DOCUMENT_CELL);
    }
}

static void add_pair(struct lw_document *document, enum lw_block_kind kind, const char *label,
                     const char *value, size_t most)
{
    struct lw_document_block *block = last(document, kind);
    block = block == NULL ? add(document, kind) : block;
    if (block != NULL) {
        add_line(document, &block->lines, label, LW_DOCUMENT_CELL);
        add_line(document, &block->lines, value, most);
    }
}

void lw_document_fact(struct lw_document *document, const char *label, const char *value)
{
    add_pair(document, LW_BLOCK_FACTS, label, value, LW_DOCUMENT_FACT);
}

void lw_document_evidence(struct lw_document *document, const char *name, const char *digest)
{
    add_pair(document, LW_BLOCK_EVIDENCE, name, digest, LW_DOCUMENT_CELL);
}

static bool table_make(struct lw_document *document, struct lw_table *table,
                       const struct lw_column *columns, size_t count)
{
    table->heads = calloc(count, sizeof *table->heads);
    table->units = calloc(count, sizeof *table->units);
    table->numeric = calloc(count, sizeof *table->numeric);
    if (table->heads == NULL || table->units == NULL || table->numeric == NULL) {
        document->failed = true;
        return false;
    }
    table->columns = count;
    for (size_t i = 0; i < count; i++) {
        table->heads[i] = keep(document, columns[i].head, LW_DOCUMENT_CELL);
        table->units[i] = keep_if(document, columns[i].unit, LW_DOCUMENT_CELL);
        table->numeric[i] = columns[i].numeric;
    }
    return true;
}

void lw_document_table(struct lw_document *document, const char *caption,
                       const struct lw_column *columns, size_t count)
{
    assert(count > 0);
    struct lw_document_block *block = add(document, LW_BLOCK_TABLE);
    if (block != NULL && table_make(document, &block->table, columns, count)) {
        block->text = keep(document, caption, LW_DOCUMENT_CELL);
    }
}

void lw_document_cell(struct lw_document *document, const char *text)
{
    struct lw_document_block *block = last(document, LW_BLOCK_TABLE);
    assert(block != NULL || document->failed);
    if (block == NULL) {
        return;
    }
    struct lw_table *table = &block->table;
    if (table->cells.count % table->columns == 0) {
        document->failed = lw_list_add(&table->marks, sizeof(int)) == NULL;
    }
    add_line(document, &table->cells, text, LW_DOCUMENT_CELL);
}

void lw_document_number(struct lw_document *document, double value, int decimals)
{
    char text[64];
    snprintf(text, sizeof text, "%.*f", decimals, value);
    lw_document_cell(document, isfinite(value) ? text : NULL);
}

void lw_document_mark(struct lw_document *document, enum lw_verdict verdict)
{
    struct lw_document_block *block = last(document, LW_BLOCK_TABLE);
    if (block != NULL && block->table.marks.count > 0) {
        int *marks = block->table.marks.items;
        marks[block->table.marks.count - 1] = (int)verdict;
    }
}

void lw_document_finding(struct lw_document *document, const struct lw_finding *finding)
{
    struct lw_document_block *block = add(document, LW_BLOCK_FINDING);
    if (block == NULL) {
        return;
    }
    struct lw_finding *copy = &block->finding;
    block->verdict = (enum lw_verdict)finding->severity;
    *copy = *finding;
    copy->because = (struct lw_list){0};
    copy->code = keep_if(document, finding->code, LW_DOCUMENT_CELL);
    copy->node = keep_if(document, finding->node, LW_DOCUMENT_CELL);
    copy->says = keep(document, finding->says, LW_DOCUMENT_SENTENCE);
    copy->unit = keep_if(document, finding->unit, LW_DOCUMENT_CELL);
    copy->instrument = keep_if(document, finding->instrument, LW_DOCUMENT_CELL);
    copy->next = keep_if(document, finding->next, LW_DOCUMENT_SENTENCE);
    copy->caution = keep_if(document, finding->caution, LW_DOCUMENT_SENTENCE);
    for (size_t i = 0; i < finding->because.count; i++) {
        add_line(document, &copy->because, ((char **)finding->because.items)[i],
                 LW_DOCUMENT_SENTENCE);
    }
}

void lw_document_figure(struct lw_document *document, struct lw_chart *chart)
{
    document->failed = document->failed || chart == NULL || chart->failed;
    struct lw_document_block *block = add(document, LW_BLOCK_FIGURE);
    if (block == NULL) {
        lw_chart_free(chart);
        return;
    }
    block->chart = chart;
}

void lw_document_picture(struct lw_document *document, const struct lw_picture *picture)
{
    struct lw_document_block *block = last(document, LW_BLOCK_PICTURES);
    block = block == NULL ? add(document, LW_BLOCK_PICTURES) : block;
    struct lw_picture *added = block == NULL ? NULL : lw_list_add(&block->pictures, sizeof *added);
    char *bytes = malloc(picture->length);
    if (added == NULL || bytes == NULL) {
        free(bytes);
        document->failed = true;
        return;
    }
    *added = *picture;
    added->bytes = memcpy(bytes, picture->bytes, picture->length);
    added->caption = keep(document, picture->caption, LW_DOCUMENT_CELL);
    added->source = keep(document, picture->source, LW_DOCUMENT_CELL);
}

// From the fifth on a side of the stored picture is the upper edge (CIPA DC-008, Orientation).
static bool lies_down(const struct lw_picture *picture)
{
    return picture->orientation >= 5;
}

int lw_picture_width_px(const struct lw_picture *picture)
{
    return lies_down(picture) ? picture->height_px : picture->width_px;
}

int lw_picture_height_px(const struct lw_picture *picture)
{
    return lies_down(picture) ? picture->width_px : picture->height_px;
}

void lw_document_signature(struct lw_document *document, const char *refused)
{
    struct lw_document_block *block = add(document, LW_BLOCK_SIGNATURE);
    if (block != NULL) {
        block->text = keep_if(document, refused, LW_DOCUMENT_CELL);
    }
}

void lw_document_seal(struct lw_document *document, const char *digest)
{
    struct lw_document_block *block = last(document, LW_BLOCK_SIGNATURE);
    assert(block != NULL || document->failed);
    if (block != NULL) {
        block->digest = keep(document, digest, LW_DOCUMENT_CELL);
    }
}

void lw_document_role(struct lw_document *document, const char *role)
{
    struct lw_document_block *block = last(document, LW_BLOCK_SIGNATURE);
    assert(block != NULL || document->failed);
    if (block != NULL) {
        add_line(document, &block->lines, role, LW_DOCUMENT_CELL);
    }
}

static void free_lines(struct lw_list *lines)
{
    for (size_t i = 0; i < lines->count; i++) {
        free(((char **)lines->items)[i]);
    }
    free(lines->items);
}

static void free_table(struct lw_table *table)
{
    for (size_t i = 0; i < table->columns; i++) {
        free(table->heads[i]);
        free(table->units[i]);
    }
    free(table->heads);
    free(table->units);
    free(table->numeric);
    free_lines(&table->cells);
    free(table->marks.items);
}

static void free_finding(struct lw_finding *finding)
{
    free(finding->code);
    free(finding->node);
    free(finding->says);
    free(finding->unit);
    free(finding->instrument);
    free(finding->next);
    free(finding->caution);
    free_lines(&finding->because);
}

static void free_pictures(struct lw_list *pictures)
{
    struct lw_picture *all = pictures->items;
    for (size_t i = 0; i < pictures->count; i++) {
        free((char *)all[i].bytes);
        free((char *)all[i].caption);
        free((char *)all[i].source);
    }
    free(all);
}

void lw_document_finish(struct lw_document *document)
{
    if (document == NULL) {
        return;
    }
    struct lw_document_block *blocks = document->blocks.items;
    for (size_t i = 0; i < document->blocks.count; i++) {
        free(blocks[i].text);
        free(blocks[i].digest);
        free_lines(&blocks[i].lines);
        free_table(&blocks[i].table);
        lw_chart_free(blocks[i].chart);
        free_finding(&blocks[i].finding);
        free_pictures(&blocks[i].pictures);
    }
    free(blocks);
    free(document->title);
    free(document->subtitle);
    free(document->language);
    free(document->anchor);
    *document = (struct lw_document){0};
}
