// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a stream has shown so far: addresses, the shapes of their frames, requests seen before. Of
// fixed size: what is seen often drives out what is seen rarely. Inside lib/modbus only.
#ifndef LW_MODBUS_STREAM_KNOWN_H
#define LW_MODBUS_STREAM_KNOWN_H

#include <stddef.h>
#include <stdint.h>

enum { LW_KNOWN_SETS = 1024, LW_KNOWN_WAYS = 4, LW_KNOWN_FULL = 200 };

struct lw_known {
    uint32_t addresses[256]; // frames of each
    struct {
        uint32_t key;
        uint8_t count; // 0: free
    } entries[LW_KNOWN_SETS][LW_KNOWN_WAYS];
};

// Keys: any bytes with a purpose, so that equal bytes of different purposes differ.
uint32_t lw_known_key(uint8_t purpose, const uint8_t *bytes, size_t count);

// How often the key was learned, up to LW_KNOWN_FULL.
unsigned lw_known_count(const struct lw_known *known, uint32_t key);
void lw_known_learn(struct lw_known *known, uint32_t key);

#endif
