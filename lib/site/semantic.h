// SPDX-License-Identifier: GPL-3.0-or-later
//
// Checks that several kinds of file share and that a field table cannot express. Used inside
// lib/site only. Each returns LW_OK, or LW_BAD_FILE with `error` filled; `pointer` is the JSON
// pointer of the value.
#ifndef LW_SITE_SEMANTIC_H
#define LW_SITE_SEMANTIC_H

#include "base/error.h"

#include <stddef.h>

enum { LW_SITE_WORD = 120 };

// The format's name, exactly.
enum lw_status lw_site_format(const char *format, const char *wanted, struct lw_error *error);
// RFC 3339 or a bare date; NULL is fine (absent).
enum lw_status lw_site_time(const char *text, const char *pointer, struct lw_error *error);
// "19200/8E1"; NULL is fine.
enum lw_status lw_site_framing(const char *text, const char *pointer, struct lw_error *error);
// Puts "plan 'cell4.json'" in front of an error when status is not LW_OK; returns the status.
enum lw_status lw_site_within(enum lw_status status, const char *kind, const char *name,
                              struct lw_error *error);
// A text from a file, fit to stand in a message: cleaned and cut. Returns `to`.
const char *lw_site_word(char to[LW_SITE_WORD], const char *text);

#endif
