// SPDX-License-Identifier: GPL-3.0-or-later
//
// Words of the report in the reader's language: every string that a reader sees passes through
// here. Private to this room.
#ifndef LW_REPORT_WORDS_H
#define LW_REPORT_WORDS_H

#include "base/words.h"

#include <libintl.h>

#define _(text) dgettext("linewalk", text)

#endif
