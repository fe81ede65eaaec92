// SPDX-License-Identifier: GPL-3.0-or-later
//
// The hand-over bundle: a visit in one file that can be opened, read and verified without linewalk.
#ifndef LW_TOOLS_REPORT_BUNDLE_H
#define LW_TOOLS_REPORT_BUNDLE_H

#include "cli/session.h"

// Writes the visit's files, its report as it lies there, SHA256SUMS and HOW-TO-VERIFY.txt into a
// ZIP file, all in one folder named after the visit. Replaces the file.
enum lw_status lw_bundle_write(const struct lw_session *session, const char *path,
                               struct lw_error *error);

#endif
