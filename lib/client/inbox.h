// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a client has heard and not yet made sense of: bytes with the time of each. Answers come torn
// into pieces, glued to one another, to an echo or to a stray byte, so a frame is looked for at
// every byte, by length and CRC. Pure but for its own memory. Inside lib/client only.
#ifndef LW_CLIENT_INBOX_H
#define LW_CLIENT_INBOX_H

#include "line/line.h"
#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LW_INBOX_SIZE = 1024 };

struct lw_inbox {
    size_t count;
    int64_t timing_u_ns; // of the latest piece
    uint8_t bytes[LW_INBOX_SIZE];
    int64_t begins_ns[LW_INBOX_SIZE], ends_ns[LW_INBOX_SIZE]; // first and last bit of each byte
};

// Bytes of a piece lie evenly between its two times. Returns how many of the oldest bytes had to be
// dropped for room.
size_t lw_inbox_add(struct lw_inbox *inbox, const uint8_t *bytes, const struct lw_piece *piece);
void lw_inbox_drop(struct lw_inbox *inbox, size_t at, size_t count);

struct lw_found {
    size_t at, count; // where in the inbox
    uint8_t address;
    struct lw_pdu pdu;
};

// The RTU frame that answers this request, wherever it stands, unless it began before not_before_ns
// (beyond the timing uncertainty). With `ended`, silence has followed: then a frame may also reach
// to the end, whatever its own counts say.
bool lw_inbox_answer(const struct lw_inbox *inbox, bool ended, uint8_t address,
                     const struct lw_pdu *request, int64_t not_before_ns, struct lw_found *found);

// The first RTU frame of anybody at or after `from` that ends at or before `to`: one whose length
// is told by its function, or all of from..to.
bool lw_inbox_frame(const struct lw_inbox *inbox, size_t from, size_t to, struct lw_found *found);

// Where these bytes stand, or inbox->count.
size_t lw_inbox_find(const struct lw_inbox *inbox, const uint8_t *bytes, size_t count);

#endif
