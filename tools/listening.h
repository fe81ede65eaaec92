// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the parts of linewalk listen share: the plain capture, the watch, and what they show.
#ifndef LW_TOOLS_LISTENING_H
#define LW_TOOLS_LISTENING_H

#include "check/listen_watch.h"
#include "cli/ring.h"
#include "cli/session.h"

struct listen_request {
    double seconds, size; // 0: until interrupted
    const char *output;   // without a visit; NULL: keep no capture
    bool against_plan, until_fault;
    double cap; // bytes
    double before_s, after_s, silence_s;
    const char *within; // limits of readings; NULL: the profiles' ranges
};

// What is still to be cut out of the ring when what comes after it has passed.
struct to_keep {
    int event;
    bool end; // of the event, where that is long after its beginning
    int64_t at_ns;
};
enum { TO_KEEP_MOST = 2 * LW_WATCH_OPEN };

struct listening {
    struct lw_session *session;
    const struct listen_request *request;
    struct lw_step step;
    struct lw_listener *listener;
    struct lw_capture *output; // of request->output
    int64_t end_ns;            // INT64_MAX: until interrupted
    // with until_fault
    struct lw_watch *watch;
    struct lw_ring *ring;
    char folder[LW_PATH];
    char framing[LW_FRAMING_TEXT];
    struct lw_list events; // of struct lw_listen_event, the first LW_LISTEN_EVENTS
    int events_in_all;
    size_t to_keep_count;
    struct to_keep to_keep[TO_KEEP_MOST];
    enum lw_status kept_status; // of the files, since the sinks cannot say it
    struct lw_error kept_error;
    int64_t shown_ns;
    int lines_shown; // of the live summary, on stderr
};

// The watch: folder, ring and judge; the recorder writes to the ring from then on.
enum lw_status watching_begin(struct listening *listening, struct lw_error *error);
void watching_options(struct listening *listening, struct lw_listener_options *options);
// After each step: silence, files that are due, the ring's turn.
enum lw_status watching_tick(struct listening *listening, struct lw_error *error);
// The line has failed: waits until it is back. LW_CANCELLED, or LW_OK at the end of the time with
// session->line NULL; the failure itself when it was the disk's.
enum lw_status watching_regain(struct listening *listening, struct lw_error *error);
// Ends the events, closes the ring, hands the events over.
enum lw_status watching_end(struct listening *listening, struct lw_listen_result *result,
                            struct lw_error *error);

// The live summary, in place, on a terminal and at most twice a second.
void listening_show(struct listening *listening);
void listening_erase(struct listening *listening);
// The summary at the end, on stdout.
void listening_print(const struct lw_listen_result *result);

#endif
