// SPDX-License-Identifier: GPL-3.0-or-later
//
// Frames out of characters. The shorter limit of 1.5 characters inside a frame is not held: most
// nodes do not hold it either, and a served master would be cut by its operating system's pauses.
#include "chain/framer.h"

void lw_framer_clear(struct lw_framer *framer)
{
    framer->count = 0;
    framer->damaged = false;
    framer->overrun = false;
    framer->due_ns = LW_NEVER;
}

bool lw_framer_hear(struct lw_framer *framer, const struct lw_framing *framing,
                    const struct lw_sound *sound)
{
    int64_t silence_ns = lw_framing_t35_ns(framing);
    if (framer->count > 0 && sound->first_ns - framer->last_ns >= silence_ns) {
        return true;
    }
    size_t room = sizeof framer->bytes - framer->count;
    size_t count = sound->count < room ? sound->count : room;
    memcpy(framer->bytes + framer->count, sound->bytes, count);
    framer->count += count;
    framer->overrun |= count < sound->count;
    framer->damaged |= sound->flags != 0;
    framer->last_ns = sound->last_ns;
    framer->due_ns = sound->last_ns + silence_ns;
    return false;
}

bool lw_framer_due(struct lw_framer *framer, const struct lw_actor *actor, int64_t now_ns)
{
    if (framer->due_ns > now_ns) {
        return false;
    }
    bool inside_a_character = actor->heard_ns < now_ns;
    if (inside_a_character) {
        framer->due_ns = now_ns + lw_framing_chars_ns(&actor->framing, 1);
    }
    return !inside_a_character;
}
