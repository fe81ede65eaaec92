// SPDX-License-Identifier: GPL-3.0-or-later
//
// A page of documentation that a program makes.
#ifndef LW_DOCS_PAGE_H
#define LW_DOCS_PAGE_H

#include "base/text.h"

#include <stdbool.h>

// Writes the page to `name` in the folder or, with `check`, compares it with what is there. Says on
// stderr what failed or is not current, and returns false then. The page is emptied.
bool lw_page_finish(const char *folder, const char *name, bool check, struct lw_text *page);

#endif
