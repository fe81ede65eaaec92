// SPDX-License-Identifier: GPL-3.0-or-later
//
// Words that stand in tables and are looked up in the reader's language where they are shown.
#ifndef LW_BASE_WORDS_H
#define LW_BASE_WORDS_H

#define N_(text) text

#endif
