// SPDX-License-Identifier: GPL-3.0-or-later
//
// A set-associative table of counters. A newcomer to a full set wears the weakest entry down before
// it takes its place, so that a burst of oddities can't sweep a line's habits away.
#include "modbus/stream_known.h"

// FNV-1a, 32 bits.
uint32_t lw_known_key(uint8_t purpose, const uint8_t *bytes, size_t count)
{
    uint32_t key = (2166136261u ^ purpose) * 16777619u;
    for (size_t i = 0; i < count; i++) {
        key = (key ^ bytes[i]) * 16777619u;
    }
    return key;
}

static size_t set_of(uint32_t key)
{
    return (key ^ key >> 16) % LW_KNOWN_SETS;
}

unsigned lw_known_count(const struct lw_known *known, uint32_t key)
{
    size_t set = set_of(key);
    for (size_t way = 0; way < LW_KNOWN_WAYS; way++) {
        if (known->entries[set][way].key == key) {
            return known->entries[set][way].count;
        }
    }
    return 0;
}

void lw_known_learn(struct lw_known *known, uint32_t key)
{
    size_t set = set_of(key), weakest = 0;
    for (size_t way = 0; way < LW_KNOWN_WAYS; way++) {
        if (known->entries[set][way].count > 0 && known->entries[set][way].key == key) {
            if (known->entries[set][way].count < LW_KNOWN_FULL) {
                known->entries[set][way].count++;
            }
            return;
        }
        if (known->entries[set][way].count < known->entries[set][weakest].count) {
            weakest = way;
        }
    }
    if (known->entries[set][weakest].count > 1) {
        known->entries[set][weakest].count--;
        return;
    }
    known->entries[set][weakest].key = key;
    known->entries[set][weakest].count = 1;
}
