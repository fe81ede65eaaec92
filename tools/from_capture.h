// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the checks' judges take, out of a capture instead of a line. The capture is only read: what
// it lacks, the judges say.
#ifndef LW_TOOLS_FROM_CAPTURE_H
#define LW_TOOLS_FROM_CAPTURE_H

#include "check/link.h"
#include "cli/session.h"

// Whether the file begins as a capture does (pcapng or pcap, either byte order).
bool lw_is_capture(const char *path);

// The judge's result over all exchanges with the session's nodes, for its step under way. LW_USAGE
// when there are none.
enum lw_status lw_link_from_capture(struct lw_session *session, const char *path,
                                    struct lw_link_result *result, struct lw_error *error);

// The readings of the session's nodes in the replies, whoever asked for them; the session has a
// plan. Times count from the capture's first packet. LW_USAGE when there are none.
enum lw_status lw_series_from_capture(struct lw_session *session, const char *path,
                                      struct lw_series *series, struct lw_error *error);

#endif
