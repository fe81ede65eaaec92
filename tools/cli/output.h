// SPDX-License-Identifier: GPL-3.0-or-later
//
// How results are said on a terminal: tables that fit it, findings in full, the verdict. Colour
// never carries a meaning alone.
#ifndef LW_CLI_OUTPUT_H
#define LW_CLI_OUTPUT_H

#include "site/record.h"

#include <stdbool.h>
#include <stddef.h>

// Prints `text` wrapped at blanks to the terminal, the first line after `lead` (which takes `at`
// columns), the others indented by `indent` columns.
void lw_print_wrapped(const char *lead, int at, int indent, const char *text);

// On stderr, without a line end.
void lw_ask_wrapped(const char *text);

void lw_print_findings(const struct lw_findings *findings);
void lw_print_verdict(const char *check, enum lw_verdict verdict, bool simulated,
                      const char *record_name);

// A table. Heads ending in '|' are right-aligned numbers ("volts|"); the last column takes what is
// left and wraps at blanks. Plain memory of its own; rows are copied.
struct lw_cli_table;
struct lw_cli_table *lw_cli_table_new(const char *const *heads); // NULL-terminated; NULL: no memory
void lw_cli_table_row(struct lw_cli_table *table, const char *const *cells); // as many as heads
void lw_cli_table_print(struct lw_cli_table *table); // prints and frees; NULL is allowed

// Cells for people, in a ring of static texts (16 at a time): "-" for NAN.
const char *lw_cell_number(double value, int decimals);
const char *lw_cell_text(const char *text); // "-" for NULL and ""
const char *lw_cell_count(double value);

#endif
