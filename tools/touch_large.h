// SPDX-License-Identifier: GPL-3.0-or-later
//
// A word in letters of seven lines, to be read from the machine.
#ifndef LW_TOOLS_TOUCH_LARGE_H
#define LW_TOOLS_TOUCH_LARGE_H

#include <stdbool.h>
#include <stdio.h>

// Writes capital letters, digits, '+', '?', '-' and '_' of `word`; other characters leave a gap.
// Cut to `columns` (0: 80). `utf8`: with full blocks, else with '#'.
void lw_print_large(FILE *to, const char *word, int columns, bool utf8);

#endif
