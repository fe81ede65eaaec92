// SPDX-License-Identifier: GPL-3.0-or-later
//
// Serving a virtual wire to other programs: on a pseudo-terminal, on a port of this machine, or on
// a serial port.
#ifndef LW_CLI_SERVING_H
#define LW_CLI_SERVING_H

#include "chain/wire.h"
#include "cli/options.h"

struct lw_serving {
    const char *pty; // link to make; NULL: not asked for
    int tcp, rtu;    // ports of 127.0.0.1, 0: any free one; -1: not asked for
    const char *on;  // a serial port or pseudo-terminal that exists; NULL: not asked for
    int tell;        // say when so many requests have come; 0: never
};

enum { LW_SERVING_OPTIONS = 4 };

// --pty, --tcp, --rtu and --tell into a table.
void lw_serving_options(struct lw_serving *serving, struct lw_option table[LW_SERVING_OPTIONS]);
int lw_serving_ways(const struct lw_serving *serving); // how many were asked for; one is right

// Opens what was asked for, says "ready on ..." on stdout, and serves the wire until it is
// interrupted, which is how it is meant to end: LW_OK then.
enum lw_status lw_serving_run(const struct lw_serving *serving, const struct lw_framing *framing,
                              struct lw_wire *wire, struct lw_error *error);

#endif
