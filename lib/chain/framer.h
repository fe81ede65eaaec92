// SPDX-License-Identifier: GPL-3.0-or-later
//
// How a node makes frames of characters: 3.5 characters of silence end one (MODBUS over Serial Line
// V1.02, 2.5.1.1). Internal to lib/chain.
#ifndef LW_CHAIN_FRAMER_H
#define LW_CHAIN_FRAMER_H

#include "chain/wire.h"

// Start with lw_framer_clear().
struct lw_framer {
    size_t count;
    uint8_t bytes[LW_RTU_MAX];
    bool damaged;    // some character had a parity or stop-bit error
    bool overrun;    // more than LW_RTU_MAX characters without silence
    int64_t last_ns; // end of the last character
    int64_t due_ns;  // when silence makes it a frame; LW_NEVER: nothing was heard
};

void lw_framer_clear(struct lw_framer *framer);

// True when the silence before the sound had already ended a frame: take that one, clear, and call
// again.
bool lw_framer_hear(struct lw_framer *framer, const struct lw_framing *framing,
                    const struct lw_sound *sound);

// Whether the frame has ended now. Inside a character it waits for the character's end.
bool lw_framer_due(struct lw_framer *framer, const struct lw_actor *actor, int64_t now_ns);

#endif
