// SPDX-License-Identifier: GPL-3.0-or-later
//
// From a profile to requests and back to values. Pure: plans block reads over the registers asked
// for, so that neighbours travel together, and decodes what comes back. Registers that clear on
// reading are never planned.
#ifndef LW_SITE_REGISTERS_H
#define LW_SITE_REGISTERS_H

#include "modbus/exchange.h"
#include "site/profile.h"

enum { LW_BLOCKS_MAX = 32, LW_VALUE_TEXT = 128 };

struct lw_block {
    int function, at, count; // registers or bits
};

// Fewest blocks that cover the registers with a role in `roles` (bit 1 << role); gaps of up to 8
// registers are read over unless one in the gap clears on reading. Returns the number of blocks, at
// most LW_BLOCKS_MAX.
size_t lw_registers_plan(const struct lw_profile *profile, uint32_t roles,
                         struct lw_block blocks[LW_BLOCKS_MAX]);
struct lw_pdu lw_block_request(const struct lw_block *block);

struct lw_value {
    bool is_text;
    double number;            // scaled, in `unit`; dates as days since 1970-01-01
    char text[LW_VALUE_TEXT]; // cleaned; numbers as text where exactness matters (serials)
    const char *unit;         // of the register, may be NULL
};
// Decodes one register out of a block's reply. LW_GARBLED when the reply is too short or a float is
// not finite, LW_USAGE when the register is not in the block.
enum lw_status lw_register_decode(const struct lw_register *reg, const struct lw_block *block,
                                  const struct lw_pdu *reply, struct lw_value *value,
                                  struct lw_error *error);
// The other way, for the virtual chain: writes the register's raw words (big-endian register
// values) for a number or text. Returns how many registers it takes.
size_t lw_register_encode(const struct lw_register *reg, double number, const char *text,
                          uint16_t *words, size_t room);
size_t lw_register_words(const struct lw_register *reg); // registers it occupies (bits: 1)

#endif
