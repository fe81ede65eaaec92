// SPDX-License-Identifier: GPL-3.0-or-later
//
// One table of options per command: it drives parsing, --help and the manual page. Numbers are
// taken as text and read strictly, since popt's own number types take "+5", " 5" and "010".
#ifndef LW_CLI_OPTIONS_H
#define LW_CLI_OPTIONS_H

#include "base/error.h"

#include <stdbool.h>

enum lw_option_kind {
    LW_OPTION_FLAG,     // into: bool
    LW_OPTION_TEXT,     // into: const char *
    LW_OPTION_INTEGER,  // into: int
    LW_OPTION_NUMBER,   // into: double
    LW_OPTION_DURATION, // into: double, seconds
    LW_OPTION_SIZE,     // into: double, bytes
};

struct lw_option {
    const char *name;     // long name without dashes
    char letter;          // short name, 0: none
    const char *argument; // what it takes, for the help ("SECONDS"); NULL for a flag
    enum lw_option_kind kind;
    void *into;
    double low, high; // numbers and durations, inclusive
    const char *help; // one line
};

// Parses argv[1..] by the tables (each ends with a NULL name; `common` may be NULL). Everything
// that is no option goes to `rest` (room for most + 1, NULL-terminated); more than `most` is
// LW_USAGE. An option given twice is LW_USAGE.
enum lw_status lw_options_parse(int argc, char **argv, const struct lw_option *own,
                                const struct lw_option *common, const char **rest, int most,
                                struct lw_error *error);

// Texts that options and arguments were given live until this is called, at the program's end.
void lw_options_forget(void);

// Prints the options of one table, wrapped to `columns`.
void lw_options_help(const struct lw_option *options, int columns);
// Prints a paragraph that begins at `column`, wrapped to `columns` and indented to `column`.
void lw_help_text(const char *text, int column, int columns);

#endif
