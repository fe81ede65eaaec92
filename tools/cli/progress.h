// SPDX-License-Identifier: GPL-3.0-or-later
//
// The sinks of a run, as a terminal and a folder take them.
#ifndef LW_CLI_PROGRESS_H
#define LW_CLI_PROGRESS_H

#include "cli/session.h"

// One line on stderr, on a terminal only, at most five times a second.
void lw_session_progress(void *session, const struct lw_progress *progress);
void lw_progress_clear(struct lw_session *session);

// Adds a reading to the step's CSV file.
void lw_session_reading(void *session, const struct lw_reading *reading);

#endif
