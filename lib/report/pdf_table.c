// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tables on sheets: columns as wide as their words ask, heads again on every page, no row cut.
#include "base/text.h"
#include "base/unit.h"
#include "report/sheet.h"

enum { COLUMNS_MOST = 16, LONG_WORD = 18 };

#define CELL_PT   7.4
#define BOLD      1.1 // times as wide as the plain face
#define GAP_PT    9.0
#define ROW_GAP   3.4
#define BAR_PT    7.0
#define SMALLEST  0.72 // share of the size that a crowded table may be set in
#define WIDEST_PT 230.0

static const struct lw_style_pt cell_style = {CELL_PT, false, false, 0x1b1f23};
static const struct lw_style_pt head_style = {CELL_PT, true, false, 0x1b1f23};
static const struct lw_style_pt caption_style = {9, true, false, 0x1b1f23};

struct columns {
    const struct lw_table *table;
    double scale; // of the letters, below 1 where the longest words would not fit else
    double x[COLUMNS_MOST], width[COLUMNS_MOST];
};

static void head_text(const struct lw_table *table, size_t column, char *text, size_t size)
{
    const char *unit = table->units[column];
    lw_print(text, size, "%s%s%s", table->heads[column], unit == NULL ? "" : " ",
             unit == NULL ? "" : lw_unit_shown(unit, true));
}

static const char *cell_at(const struct lw_table *table, size_t index)
{
    return ((char **)table->cells.items)[index];
}

// Width of the longest word; one that is too long for a column may be broken.
static double longest_word(const char *text)
{
    double longest = 0;
    while (*text != '\0') {
        char word[LONG_WORD * 4 + 1];
        size_t length = strcspn(text, " ");
        lw_print(word, sizeof word, "%.*s", (int)length, text);
        longest = fmax(longest, lw_text_em(word));
        text += length;
        text += strspn(text, " ");
    }
    return CELL_PT * fmin(longest, LONG_WORD * 0.64);
}

static void survey(const char *text, double weight, double *least, double *natural)
{
    *least = fmax(*least, weight * longest_word(text));
    *natural = fmax(*natural, fmin(WIDEST_PT, weight * CELL_PT * lw_text_em(text)));
}

// Each column gets its longest word; what is left goes to those that want more, in proportion, and
// then to all alike.
static void choose_widths(struct columns *columns, double left, double room)
{
    const struct lw_table *table = columns->table;
    double least[COLUMNS_MOST] = {0}, natural[COLUMNS_MOST] = {0};
    double least_sum = 0, wish_sum = 0;
    for (size_t c = 0; c < table->columns; c++) {
        char head[LW_DOCUMENT_CELL * 2];
        head_text(table, c, head, sizeof head);
        survey(head, BOLD, &least[c], &natural[c]);
        for (size_t i = c; i < table->cells.count; i += table->columns) {
            survey(cell_at(table, i), c == 0 ? BOLD : 1, &least[c], &natural[c]);
        }
        natural[c] = fmax(natural[c], least[c]);
        least_sum += least[c];
        wish_sum += natural[c] - least[c];
    }
    room -= BAR_PT + GAP_PT * (double)(table->columns - 1);
    double spare = fmax(0, room - least_sum), shrink = fmin(1, room / least_sum);
    columns->scale = fmax(SMALLEST, shrink);
    double share = wish_sum > spare ? spare / wish_sum : 1;
    double rest = fmax(0, spare - wish_sum) / (double)table->columns;
    double x = left + BAR_PT;
    for (size_t c = 0; c < table->columns; c++) {
        columns->x[c] = x;
        columns->width[c] = shrink * least[c] + share * (natural[c] - least[c]) + rest;
        x += columns->width[c] + GAP_PT;
    }
}

// Sets a row and returns its height.
static double set_row(struct lw_sheets *sheets, const struct columns *columns,
                      const struct lw_style_pt *style, const char *const *texts,
                      PangoLayout **layouts)
{
    double height = 0;
    for (size_t c = 0; c < columns->table->columns; c++) {
        struct lw_style_pt own = c == 0 ? head_style : *style;
        own.size_pt *= columns->scale;
        layouts[c] = lw_sheets_set(sheets, &own, texts[c], columns->width[c]);
        if (columns->table->numeric[c]) {
            pango_layout_set_alignment(layouts[c], PANGO_ALIGN_RIGHT);
        }
        height = fmax(height, lw_layout_height(layouts[c]));
    }
    return height;
}

static void show_row(struct lw_sheets *sheets, const struct columns *columns, PangoLayout **layouts,
                     double height, double line_pt)
{
    for (size_t c = 0; c < columns->table->columns; c++) {
        lw_sheets_show(sheets, layouts[c], columns->x[c], sheets->y + ROW_GAP / 2,
                       cell_style.colour);
        g_object_unref(layouts[c]);
    }
    sheets->y += height + ROW_GAP;
    lw_sheets_line(sheets, sheets->left, sheets->y, sheets->right, sheets->y, line_pt,
                   line_pt > 0.5 ? 0x1b1f23 : 0xc9ced3);
}

static void show_head(struct lw_sheets *sheets, const struct columns *columns)
{
    char texts[COLUMNS_MOST][LW_DOCUMENT_CELL];
    const char *pointers[COLUMNS_MOST];
    PangoLayout *layouts[COLUMNS_MOST];
    for (size_t c = 0; c < columns->table->columns; c++) {
        head_text(columns->table, c, texts[c], sizeof texts[c]);
        pointers[c] = texts[c];
    }
    double height = set_row(sheets, columns, &head_style, pointers, layouts);
    show_row(sheets, columns, layouts, height, 1);
}

static void show_body_row(struct lw_sheets *sheets, const struct columns *columns, size_t row)
{
    const struct lw_table *table = columns->table;
    const char *texts[COLUMNS_MOST];
    PangoLayout *layouts[COLUMNS_MOST];
    for (size_t c = 0; c < table->columns; c++) {
        texts[c] = cell_at(table, row * table->columns + c);
    }
    double height = set_row(sheets, columns, &cell_style, texts, layouts);
    if (sheets->y + height + ROW_GAP > sheets->bottom) {
        lw_sheets_page(sheets);
        show_head(sheets, columns);
    }
    enum lw_verdict mark = (enum lw_verdict)((const int *)table->marks.items)[row];
    lw_pdf_bar(sheets, mark, sheets->left, sheets->y, height + ROW_GAP);
    show_row(sheets, columns, layouts, height, 0.4);
}

void lw_pdf_table(struct lw_sheets *sheets, const struct lw_document_block *block)
{
    struct columns columns = {.table = &block->table};
    if (block->table.columns > COLUMNS_MOST) {
        sheets->failed = true;
        return;
    }
    choose_widths(&columns, sheets->left, sheets->right - sheets->left);
    lw_sheets_need(sheets, LW_PDF_TABLE_LEAST);
    lw_sheets_skip(sheets, 8);
    lw_sheets_flow(sheets, &caption_style, block->text, 0);
    sheets->y += 2;
    show_head(sheets, &columns);
    for (size_t row = 0; row < block->table.cells.count / block->table.columns; row++) {
        show_body_row(sheets, &columns, row);
    }
    sheets->y += 4;
}
