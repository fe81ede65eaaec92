// SPDX-License-Identifier: GPL-3.0-or-later
//
// One line of a decoded stream: an exchange or a frame, for people or as CSV. Written by hand into
// a fixed row, since captures have millions of them.
#ifndef LW_TOOLS_DECODE_LINE_H
#define LW_TOOLS_DECODE_LINE_H

#include "modbus/stream.h"
#include "site/plan.h"

enum { LW_ROW = 8192 };
struct lw_row {
    size_t count;
    char bytes[LW_ROW]; // not terminated; what does not fit is dropped
};

// What lines need of a plan, looked up once.
struct lw_decode_names {
    bool known;                                // there is a plan
    const struct lw_chain_entry *entries[256]; // by address; NULL: not in the plan
};
void lw_decode_names(const struct lw_plan *plan, struct lw_decode_names *names); // plan: or NULL

// The heads of the columns, and one line each; all end with a line end.
void lw_decode_heads(struct lw_row *row, const struct lw_decode_names *names, bool frames);
void lw_decode_exchange(struct lw_row *row, const struct lw_decode_names *names,
                        const struct lw_exchange *exchange);
void lw_decode_frame(struct lw_row *row, const struct lw_stream_frame *frame, enum lw_adu adu);

void lw_decode_csv_heads(struct lw_row *row, bool frames);
void lw_decode_csv_exchange(struct lw_row *row, const struct lw_decode_names *names,
                            const struct lw_exchange *exchange);
void lw_decode_csv_frame(struct lw_row *row, const struct lw_stream_frame *frame, enum lw_adu adu);

#endif
