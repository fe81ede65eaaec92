// SPDX-License-Identifier: GPL-3.0-or-later
//
// Nodes that answer as recorded ones did: the site carried home in a file. Each request gets what
// that node answered to the same request, one recorded answer after the other, silences and damaged
// frames included, after the recorded time; at the end it begins again.
#ifndef LW_CHAIN_RECORDED_H
#define LW_CHAIN_RECORDED_H

#include "chain/wire.h"

struct lw_recorded; // opaque

struct lw_recorded_options {
    struct lw_framing framing;
    bool fast;           // answer after the silence between frames instead of the recorded time
    int64_t utc_zero_ns; // UTC at the wire's time 0
    const struct lw_cancel *cancel; // for the ports; may be NULL
};

// Builds one node for each address among the exchanges (borrowed, in order of time; those with
// LW_NOT_SENT and broadcasts are left out). LW_USAGE when nothing is left, LW_MEMORY.
//
// A read of registers or bits that was never asked in this form is cut out of a recorded read that
// covers it. Of all else that was never asked: the exception that the node gave to that function;
// else exception 01 when it refused any function with that; else silence.
enum lw_status lw_recorded_new(const struct lw_exchange *exchanges, size_t count,
                               const struct lw_recorded_options *options,
                               struct lw_recorded **recorded, struct lw_error *error);
void lw_recorded_free(struct lw_recorded *recorded); // NULL is allowed

struct lw_wire *lw_recorded_wire(struct lw_recorded *recorded);
enum lw_status lw_recorded_port(struct lw_recorded *recorded, struct lw_line **line,
                                struct lw_error *error);

#endif
