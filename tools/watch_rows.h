// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the watch writes, as text: a node's cell, an event, the lines around them. No terminal here;
// every text is of exactly the columns asked for, and readable without colour.
#ifndef LW_TOOLS_WATCH_ROWS_H
#define LW_TOOLS_WATCH_ROWS_H

#include "check/watch.h"
#include "report/sentences.h"

enum { LW_ROW = 1200, LW_CELL_NARROW = 40, LW_CELL_WIDE = 64 };

// Pads or cuts a UTF-8 text to so many columns. Returns `to`.
const char *lw_row_fit(char *to, size_t size, const char *from, int columns, bool right);

// One node in at least LW_CELL_NARROW columns; from LW_CELL_WIDE on with word and place beside its
// reading, else the word takes the place of the range when it is not well.
const char *lw_row_cell(const struct lw_live *live, size_t index, int64_t now_ns, int columns,
                        char *text, size_t size);
// "12.3  P07 silent for 0.42 s, 4 polls"
const char *lw_row_event(const struct lw_live *live, const struct lw_live_event *event,
                         const struct lw_sentences *sentences, int columns, char *text,
                         size_t size);
// "24 nodes: 22 well, 1 out, 1 jumped"
const char *lw_row_counts(const struct lw_live *live, int64_t now_ns, char *text, size_t size);

#endif
