// SPDX-License-Identifier: GPL-3.0-or-later
//
// How a receiver turns a line's levels into characters: falling edge, middle of the start bit, then
// the middle of every bit, three samples each. Internal to lib/chain.
#ifndef LW_CHAIN_UART_H
#define LW_CHAIN_UART_H

#include "line/line.h"

// One transmission on the wire. Levels are on where its driver is.
struct lw_transmission {
    const void *from; // the actor that sends; only compared
    size_t tap;
    uint32_t key;
    double drive_v;
    struct lw_framing framing;
    int64_t first_ns, last_ns;
    bool settled; // ended, and everybody has heard what was complete then
    size_t count;
    uint8_t bytes[LW_MBAP_MAX];
};

enum { LW_FLIPS_MAX = 24 };

// What one receiver gets of a transmission: the drivers it sees, with the bits that the way to it
// turns over (rising bit numbers, counted from the first start bit).
struct lw_seen {
    const struct lw_transmission *sent;
    size_t flip_count;
    uint32_t flips[LW_FLIPS_MAX];
};

struct lw_character {
    uint8_t byte;
    unsigned flags; // LW_PIECE_PARITY, LW_PIECE_STOP_BIT, LW_PIECE_BREAK
    int64_t first_ns, last_ns;
};

// Beginning of bit `bit` of a transmission at that framing, after its first bit.
int64_t lw_uart_bits_ns(const struct lw_framing *framing, uint64_t bits);

// True for mark (binary 1, and idle). Drivers that disagree share the voltage; within +-0.2 V of
// nothing (the receiver's guaranteed threshold, TIA/EIA-485) a fail-safe receiver reads mark.
bool lw_uart_level(const struct lw_seen *seen, size_t count, int64_t at_ns);

enum lw_uart_found {
    LW_UART_NOTHING,    // no character begins before until_ns
    LW_UART_UNFINISHED, // one begins at character->first_ns, and ends after until_ns
    LW_UART_CHARACTER,  // one is complete
};

// The first character that begins after from_ns. *resume_ns is where to look for the next one.
enum lw_uart_found lw_uart_next(const struct lw_seen *seen, size_t count,
                                const struct lw_framing *framing, int64_t from_ns, int64_t until_ns,
                                struct lw_character *character, int64_t *resume_ns);

#endif
