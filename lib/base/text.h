// SPDX-License-Identifier: GPL-3.0-or-later
//
// Text that grows, and text that came from outside. What a node, a plan or a file says is hostile
// until it is cleaned: no control byte may reach a terminal, no broken UTF-8 a report.
#ifndef LW_BASE_TEXT_H
#define LW_BASE_TEXT_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

// A growing text, always NUL-terminated when `bytes` is not NULL. Start with `struct lw_text text =
// {0};`. A failed allocation sets `failed` and drops what follows, so that a caller checks once, at
// the end.
struct lw_text {
    char *bytes;
    size_t length;
    size_t room;
    bool failed;
};

void lw_text_add(struct lw_text *text, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void lw_text_put(struct lw_text *text, const char *bytes, size_t count);
void lw_text_clear(struct lw_text *text); // keeps the memory
void lw_text_finish(struct lw_text *text);
enum lw_status lw_text_check(const struct lw_text *text,
                             struct lw_error *error); // LW_MEMORY when it failed

// Copies `from` (count bytes, any content) into `to` as valid UTF-8 without control characters: C0,
// DEL, C1, bidirectional controls and line separators become one '?', an invalid byte becomes
// U+FFFD. Cut at a whole character, always terminated. Returns the length.
size_t lw_text_clean(char *to, size_t size, const char *from, size_t count);

// Bounded copy and format into a fixed array, always terminated; false when it was cut (at a whole
// UTF-8 character).
bool lw_copy(char *to, size_t size, const char *from);
bool lw_print(char *to, size_t size, const char *format, ...) __attribute__((format(printf, 3, 4)));

// strdup that says so: NULL when from is NULL or memory is out.
char *lw_duplicate(const char *from);

// Columns a UTF-8 text takes on a terminal (wide and combining characters counted as wcwidth()
// would in a UTF-8 locale, without needing the locale).
size_t lw_text_columns(const char *utf8);

#endif
