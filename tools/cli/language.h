// SPDX-License-Identifier: GPL-3.0-or-later
//
// The language of what a session says to people.
#ifndef LW_CLI_LANGUAGE_H
#define LW_CLI_LANGUAGE_H

#include "cli/session.h"
#include "report/sentences.h"

// Speaks the language asked for, else the visit's, else the locale's, and gives its sentences; NULL
// for English, which needs none. Free with lw_sentences_free().
enum lw_status lw_session_language(struct lw_session *session, struct lw_sentences **sentences,
                                   struct lw_error *error);

#endif
