// SPDX-License-Identifier: GPL-3.0-or-later
//
// What serial ports, pseudo-terminals and sockets share: a descriptor, the system's clock, and
// waiting that the user can interrupt. Only lib/line includes this.
#ifndef LW_LINE_SYSTEM_LINE_H
#define LW_LINE_SYSTEM_LINE_H

#include "line/line.h"

#include <poll.h>

// First member of those kinds of line.
struct lw_system_line {
    struct lw_line line;
    struct lw_clock clock;
    const struct lw_cancel *cancel; // may be NULL
    int descriptor;                 // non-blocking; -1 when there is none
    bool socket;                    // a lost one must not kill the process with a signal
    const char *gone;               // what is said when the other end is lost
};

// Sets clock, name, framing and cancel; everything else is zero and the descriptor -1.
void lw_system_line_init(struct lw_system_line *system, const struct lw_line_ops *ops,
                         const struct lw_line_options *options, const char *name);

// Waits for `events` on `descriptor` (-1: for nothing) until the deadline. *ready is false at the
// deadline. LW_CANCELLED, LW_SYSTEM. Interrupted waits go on.
enum lw_status lw_system_line_wait(const struct lw_system_line *system, int descriptor,
                                   short events, int64_t deadline_ns, bool *ready,
                                   struct lw_error *error);

// Takes what is there. *count is 0 when there is nothing after all. *ended says that the other end
// is lost; then nothing was read.
enum lw_status lw_system_line_read(const struct lw_system_line *system, uint8_t *bytes, size_t size,
                                   size_t *count, bool *ended, struct lw_error *error);

// Waits and reads; LW_SYSTEM with the sentence of lw_system_line_gone() when the other end is lost.
// *count is 0 at the deadline.
enum lw_status lw_system_line_take(const struct lw_system_line *system, int64_t deadline_ns,
                                   uint8_t *bytes, size_t size, size_t *count,
                                   struct lw_error *error);

// Hands all bytes to the system, waiting where it has no room. LW_CANCELLED, LW_SYSTEM.
enum lw_status lw_system_line_write(const struct lw_system_line *system, const uint8_t *bytes,
                                    size_t count, struct lw_error *error);

// LW_SYSTEM "'NAME' is gone: ...".
enum lw_status lw_system_line_gone(const struct lw_system_line *system, struct lw_error *error);

// A piece that just arrived, `count` bytes, on a line where a byte takes no time of its own.
void lw_system_line_stamp(const struct lw_system_line *system, size_t count,
                          struct lw_piece *piece);

// Standard uncertainty of a time that is late by anything between 0 and late_ns and is not
// corrected: the root mean square of that rectangle, late_ns/sqrt(3) (JCGM 100:2008, 4.3.7).
int64_t lw_lateness_u_ns(int64_t late_ns);

#endif
