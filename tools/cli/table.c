// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tables through libsmartcols. It breaks words where it wraps and cuts without a mark, so wrapping
// at blanks and the ellipsis are done here.
#include "cli/output.h"

#include "base/number.h"
#include "base/text.h"
#include "cli/cli.h"

#include <libsmartcols.h>

enum { MOST_COLUMNS = 16, UNLIMITED = 4000 };

struct lw_cli_table {
    struct libscols_table *scols;
    size_t columns;
};

// The longest piece of the cell between blanks decides how narrow the column may get.
static size_t widest_word(const struct libscols_column *column, const char *data, void *user)
{
    (void)column;
    (void)user;
    size_t widest = 0;
    while (data != NULL && *data != '\0') {
        size_t word = strcspn(data, " \n");
        char piece[256];
        lw_print(piece, sizeof piece, "%.*s", (int)word, data);
        size_t width = lw_text_columns(piece);
        widest = width > widest ? width : widest;
        data += word;
        data += strspn(data, " \n");
    }
    return widest;
}

// Called for each line of a wrapped cell: ends the line at the last blank that fits and returns
// where the next one begins.
static char *next_line(const struct libscols_column *column, char *data, void *user)
{
    (void)user;
    size_t width = scols_column_get_width(column);
    char *blank = NULL;
    char kept[512];
    for (char *at = data; *at != '\0'; at++) {
        if (*at != ' ') {
            continue;
        }
        lw_print(kept, sizeof kept, "%.*s", (int)(at - data), data);
        if (lw_text_columns(kept) > width) {
            break;
        }
        blank = at;
    }
    if (lw_text_columns(data) <= width || blank == NULL) {
        return NULL;
    }
    *blank = '\0';
    return blank + 1;
}

static bool add_column(struct lw_cli_table *table, const char *head, bool last)
{
    char name[64];
    bool number = head[0] != '\0' && head[strlen(head) - 1] == '|';
    lw_print(name, sizeof name, "%.*s", (int)(strlen(head) - number), head);
    int flags = number ? SCOLS_FL_RIGHT : last ? SCOLS_FL_WRAP : 0;
    struct libscols_column *column = scols_table_new_column(table->scols, name, 0, flags);
    if (column == NULL) {
        return false;
    }
    if (last && !number) {
        scols_column_set_wrapfunc(column, widest_word, next_line, NULL);
    }
    table->columns++;
    return true;
}

struct lw_cli_table *lw_cli_table_new(const char *const *heads)
{
    struct lw_cli_table *table = calloc(1, sizeof *table);
    if (table == NULL) {
        return NULL;
    }
    table->scols = scols_new_table();
    bool good = table->scols != NULL;
    for (size_t i = 0; good && heads[i] != NULL && i < MOST_COLUMNS; i++) {
        good = add_column(table, heads[i], heads[i + 1] == NULL);
    }
    if (!good) {
        scols_unref_table(table->scols);
        free(table);
        return NULL;
    }
    scols_table_set_column_separator(table->scols, "  ");
    int columns = lw_cli_columns();
    scols_table_set_termforce(table->scols, SCOLS_TERMFORCE_ALWAYS);
    scols_table_set_termwidth(table->scols, columns > 0 ? (size_t)columns : UNLIMITED);
    scols_table_enable_maxout(table->scols, 0);
    return table;
}

void lw_cli_table_row(struct lw_cli_table *table, const char *const *cells)
{
    struct libscols_line *line = table != NULL ? scols_table_new_line(table->scols, NULL) : NULL;
    for (size_t i = 0; line != NULL && i < table->columns; i++) {
        scols_line_set_data(line, i, cells[i] != NULL ? cells[i] : "-");
    }
}

void lw_cli_table_print(struct lw_cli_table *table)
{
    if (table == NULL) {
        return;
    }
    scols_print_table(table->scols);
    scols_unref_table(table->scols);
    free(table);
}

static char *next_cell(void)
{
    static char cells[16][LW_NUMBER_TEXT];
    static size_t next;
    return cells[next++ % 16];
}

const char *lw_cell_number(double value, int decimals)
{
    char *cell = next_cell();
    if (!isfinite(value)) {
        return "-";
    }
    lw_print(cell, LW_NUMBER_TEXT, "%.*f", decimals, value);
    return cell;
}

const char *lw_cell_count(double value)
{
    return lw_cell_number(value, 0);
}

const char *lw_cell_text(const char *text)
{
    return text != NULL && text[0] != '\0' ? text : "-";
}
